"""Outlines named, mended and parted from their neighbours; each fault by feature."""

from __future__ import annotations

import zipfile

import geopandas as gpd
import numpy as np
import pyproj
import pytest
import shapely
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st
from read_world import (
    EAST,
    NORTH,
    UTM,
    faults,
    frame_faults,
    read,
    read_frame,
    settings,
    squares,
    write_dem,
    write_holding,
)
from shapely.affinity import translate

from dewpond.steps.read.notes import Notes
from dewpond.steps.read.outlines import mean_width_m, mend
from dewpond.steps.read.overlaps import part_neighbours
from dewpond.steps.read.paddocks import refuse_strays


def _frame(*shapes, names=None) -> gpd.GeoDataFrame:
    """Shapes given relative to (EAST, NORTH)."""
    placed = [None if shape is None else translate(shape, EAST, NORTH) for shape in shapes]
    names = names or [f"Field {i + 1}" for i in range(len(shapes))]
    return gpd.GeoDataFrame({"name": names}, geometry=placed, crs=UTM)


def _only(texts: list[str]) -> str:
    assert len(texts) == 1, texts
    return texts[0]


# --- names and layers --------------------------------------------------------------------------


def test_sound_paddocks_pass_unchanged(tmp_path):
    holding = read(write_holding(tmp_path))
    assert holding.crs.to_epsg() == 32630
    assert list(holding.paddocks.columns) == ["name", "area_ha", "geometry"]
    assert holding.paddocks["name"].tolist() == ["Top Field", "Low Field", "Far Field"]
    assert holding.paddocks.index.tolist() == [0, 1, 2]
    np.testing.assert_allclose(holding.paddocks["area_ha"], 4.0, atol=1e-4)
    assert holding.mobs[0].paddocks == (0, 1, 2)
    assert holding.features.gates.empty
    assert holding.features.gates.crs == holding.crs
    assert not holding.repairs


def test_frame_handed_over_is_not_changed_and_gives_the_same(tmp_path):
    frame = squares().rename_geometry("outline").set_index(np.array([7, 3, 5]))
    before = frame.copy(deep=True)
    holding = read_frame(frame, tmp_path)
    assert frame.equals(before)
    assert holding.paddocks.geometry.name == "geometry"
    assert holding.paddocks.index.tolist() == [0, 1, 2]


def test_missing_name_field_names_the_nearest(tmp_path):
    frame = squares().rename(columns={"name": "paddock_nam"})
    text = _only(frame_faults(frame, tmp_path, paddocks={"name_field": "paddock_name"}))
    assert text.startswith("paddocks, field paddock_name: no such field")
    assert 'did you mean "paddock_nam"?' in text


def test_without_the_name_field_no_mob_is_blamed(tmp_path):
    frame = squares().rename(columns={"name": "field"})
    mob = settings()["mob"][0] | {"paddocks": ["Top Field"]}
    assert "no such field" in _only(frame_faults(frame, tmp_path, mob=[mob]))


def test_name_field_is_found_whatever_its_case(tmp_path):
    frame = squares().rename(columns={"name": "NAME"})
    assert read_frame(frame, tmp_path).paddocks["name"].tolist()[0] == "Top Field"


def test_numbers_blanks_and_namesakes(tmp_path):
    frame = squares(("a", "b", "c", "d", "e"))
    frame["name"] = [12.0, None, 12.0, 7.5, np.nan]
    mob = settings()["mob"][0] | {"paddocks": ["12"]}
    holding = read_frame(frame, tmp_path, mob=[mob])
    assert holding.paddocks["name"].tolist() == ["12", "paddock 2", "12 (2)", "7.5", "paddock 5"]
    assert holding.mobs[0].paddocks == (0, 2)
    assert sum("has no name" in text for text in holding.repairs) == 2
    assert sum("another paddock has that name" in text for text in holding.repairs) == 1


def test_several_layers_need_a_choice(tmp_path):
    write_dem(tmp_path / "terrain.tif")
    squares().to_file(tmp_path / "farm.gpkg", layer="fields")
    squares(("Yard",)).to_file(tmp_path / "farm.gpkg", layer="yards")
    text = _only(faults(tmp_path, paddocks={"boundaries": "farm.gpkg"}))
    assert "farm.gpkg holds several layers and none is chosen" in text
    assert 'found "fields", "yards"' in text
    text = _only(faults(tmp_path, paddocks={"boundaries": "farm.gpkg", "layer": "feilds"}))
    assert 'has no such layer; found "feilds"; did you mean "fields"?' in text
    holding = read(tmp_path, paddocks={"boundaries": "farm.gpkg", "layer": "fields"})
    assert len(holding.paddocks) == 3


@pytest.mark.parametrize(
    ("driver", "name"),
    [("KML", "p.kml"), ("FlatGeobuf", "p.fgb"), ("GPKG", "p.gpkg"), ("GML", "p.gml")],
)
def test_formats_of_the_trade(tmp_path, driver, name):
    write_dem(tmp_path / "terrain.tif")
    squares().to_crs("EPSG:4326").to_file(tmp_path / name, driver=driver)
    paddocks = read(tmp_path, paddocks={"boundaries": name}).paddocks
    assert sorted(paddocks["name"]) == ["Far Field", "Low Field", "Top Field"]
    np.testing.assert_allclose(paddocks["area_ha"], 4.0, atol=1e-3)


def test_zipped_shapefile(tmp_path):
    write_dem(tmp_path / "terrain.tif")
    squares().to_file(tmp_path / "fields.shp")
    with zipfile.ZipFile(tmp_path / "fields.zip", "w") as archive:
        for suffix in (".shp", ".shx", ".dbf", ".prj"):
            archive.write(tmp_path / f"fields{suffix}", f"fields{suffix}")
    holding = read(tmp_path, paddocks={"boundaries": "fields.zip"})
    assert len(holding.paddocks) == 3
    assert set(holding.inputs) == {"fields.zip", "terrain.tif"}


def test_unreadable_outlines_are_named(tmp_path):
    write_dem(tmp_path / "terrain.tif")
    ring = "[[[-2.2, 53.9], [-2.19, 53.9], [-2.19, 53.91]]]"
    (tmp_path / "paddocks.geojson").write_text(
        '{"type": "FeatureCollection", "features": [{"type": "Feature", "properties": '
        f'{{"name": "x"}}, "geometry": {{"type": "Polygon", "coordinates": {ring}}}}}]}}'
    )
    assert 'feature 1 ("x"): has no geometry' in _only(faults(tmp_path))


def test_shapefile_and_its_parts(tmp_path):
    write_dem(tmp_path / "terrain.tif")
    squares().to_file(tmp_path / "fields.shp")
    holding = read(tmp_path, paddocks={"boundaries": "fields.shp"})
    assert {"fields.shp", "fields.dbf", "fields.prj"} <= set(holding.inputs)
    (tmp_path / "fields.prj").unlink()
    text = _only(faults(tmp_path, paddocks={"boundaries": "fields.shp"}))
    assert text.startswith("fields.shp: has no CRS")
    assert "assign the CRS" in text


@pytest.mark.parametrize("part", [".shx", ".dbf"])
def test_a_shapefile_that_is_not_whole(tmp_path, part):
    write_dem(tmp_path / "terrain.tif")
    squares().to_file(tmp_path / "fields.shp")
    (tmp_path / f"fields{part}").unlink()
    text = _only(faults(tmp_path, paddocks={"boundaries": "fields.shp"}))
    assert "the shapefile fields.shp is not whole" in text
    assert f"no fields{part} beside it" in text


# --- files that hold nothing usable --------------------------------------------------------------


@pytest.mark.parametrize(
    ("content", "problem"),
    [
        ("", "the file paddocks.geojson is empty"),
        ("not a map", "the file paddocks.geojson cannot be read as vector data"),
        ('{"type": "FeatureCollection", "features": []}', "holds no features"),
        (None, "the file paddocks.geojson does not exist"),
    ],
)
def test_files_that_hold_no_paddocks(tmp_path, content, problem):
    write_dem(tmp_path / "terrain.tif")
    if content is not None:
        (tmp_path / "paddocks.geojson").write_text(content)
    assert problem in _only(faults(tmp_path))


def test_missing_crs(tmp_path):
    frame = squares().set_crs(None, allow_override=True)
    assert _only(frame_faults(frame, tmp_path)).startswith("paddocks: has no CRS")


def test_metres_labelled_as_degrees(tmp_path):
    frame = squares().set_crs("EPSG:4326", allow_override=True)
    text = _only(frame_faults(frame, tmp_path))
    assert "has coordinates that do not fit its CRS, WGS 84" in text
    assert "552000" in text


def test_each_unusable_feature_is_a_fault_of_its_own(tmp_path):
    frame = _frame(
        shapely.box(0, 0, 200, 200),
        None,
        shapely.LineString([(0, 0), (9, 9)]),
        shapely.Polygon(),
        shapely.Point(1, 1),
    )
    texts = frame_faults(frame, tmp_path)
    assert len(texts) == 4
    assert 'feature 2 ("Field 2"): has no geometry' in texts[0]
    assert 'feature 3 ("Field 3"): is not a polygon; found LineString' in texts[1]
    assert 'feature 5 ("Field 5"): is not a polygon; found Point' in texts[3]


def test_stray_paddock(tmp_path):
    far = shapely.box(300_000, 0, 300_200, 200)
    frame = _frame(shapely.box(0, 0, 200, 200), shapely.box(200, 0, 400, 200), far)
    text = _only(frame_faults(frame, tmp_path))
    assert 'feature 3 ("Field 3"): lies far from the other paddocks; found 300 km' in text


def test_paddocks_astride_the_180th_meridian(tmp_path):
    # Taveuni in Fiji lies across it: one paddock on each side and one on both.
    local = pyproj.CRS("+proj=tmerc +lat_0=-16.8 +lon_0=180 +datum=WGS84")
    shapes = [shapely.box(x, 0, x + 200, 200) for x in (-300, -100, 100)]
    frame = gpd.GeoDataFrame({"name": ["West", "Middle", "East"]}, geometry=shapes, crs=local)
    degrees = frame.to_crs("EPSG:4326")
    assert degrees.total_bounds[2] - degrees.total_bounds[0] > 359
    named = degrees.assign(label=degrees["name"])
    notes = Notes()
    refuse_strays(named, notes)
    assert notes.faults == []


# --- outlines ------------------------------------------------------------------------------------


def test_crossed_outline_is_beyond_repair(tmp_path):
    bow_tie = shapely.Polygon([(0, 0), (200, 200), (200, 0), (0, 200)])
    text = _only(frame_faults(_frame(bow_tie, shapely.box(300, 0, 500, 200)), tmp_path))
    assert 'feature 1 ("Field 1"): has an outline that crosses itself beyond repair' in text
    assert "0 m² as drawn, 2.00 ha by its outer edges" in text
    assert "draw the outline again" in text


def test_nothing_but_crossed_outlines(tmp_path):
    bow_tie = shapely.Polygon([(0, 0), (200, 200), (200, 0), (0, 200)])
    texts = frame_faults(_frame(bow_tie, translate(bow_tie, 300, 0)), tmp_path)
    assert len(texts) == 2
    assert all("beyond repair" in text for text in texts)


def test_coordinates_off_the_earth(tmp_path):
    texts = frame_faults(_frame(shapely.box(1e12, 1e12, 1e12 + 9, 1e12 + 9)), tmp_path)
    assert len(texts) == 1


def test_small_loop_is_mended_and_reported(tmp_path):
    # A twist of 4 m at one corner: outline of 40,404 m² and, past the crossing, a lobe of 4 m²,
    # which at 0.83 m of mean width goes as a sliver.
    loop = shapely.Polygon(
        [(0, 0), (200, 0), (200, 200), (204, 204), (204, 200), (200, 204), (0, 200)]
    )
    assert not loop.is_valid
    holding = read_frame(_frame(loop), tmp_path)
    assert holding.paddocks.geometry.is_valid.all()
    assert holding.paddocks["area_ha"][0] == pytest.approx(4.0404, abs=1e-9)
    assert any("outline made valid (Self-intersection" in text for text in holding.repairs)


@given(width=st.floats(20, 300), height=st.floats(20, 300), share=st.floats(0.2, 0.8))
@hypothesis_settings(deadline=None, derandomize=True, max_examples=40)
def test_every_figure_of_eight_is_refused(width, height, share):
    """The lobes of a crossed quadrilateral, as drawn, cancel whatever their proportion."""
    crossed = shapely.Polygon([(0, 0), (width, height * share), (width, 0), (0, height)])
    notes = Notes()
    assert mend(crossed, "it", 1.0, notes) is None
    assert len(notes.faults) == 1


def test_heights_of_corners_are_dropped_and_reported_once(tmp_path):
    frame = squares()
    frame.geometry = shapely.force_3d(frame.geometry.to_numpy(), 100.0)
    holding = read_frame(frame, tmp_path)
    assert not holding.paddocks.has_z.any()
    assert sum("heights of the corners dropped" in text for text in holding.repairs) == 1


def test_parts_and_holes_are_kept(tmp_path):
    parts = shapely.MultiPolygon([shapely.box(0, 0, 100, 100), shapely.box(150, 0, 250, 100)])
    holed = shapely.box(300, 0, 500, 200) - shapely.box(380, 80, 420, 120)
    paddocks = read_frame(_frame(parts, holed), tmp_path).paddocks
    assert paddocks.geometry[0].geom_type == "MultiPolygon"
    np.testing.assert_allclose(paddocks["area_ha"], [2.0, 4.0 - 0.16], atol=1e-9)


def test_slivers_are_removed_and_reported(tmp_path):
    parts = shapely.MultiPolygon([shapely.box(0, 0, 100, 100), shapely.box(150, 0, 250, 0.3)])
    slit = shapely.box(300, 0, 500, 200) - shapely.box(320, 100, 480, 100.2)
    strip = shapely.box(0, 300, 400, 300.5)
    holding = read_frame(_frame(parts, slit, strip), tmp_path)
    np.testing.assert_allclose(holding.paddocks["area_ha"], [1.0, 4.0], atol=1e-9)
    assert sum("slivers narrower than 1 m" in text for text in holding.repairs) == 2
    assert sum("left out, a sliver of 200 m²" in text for text in holding.repairs) == 1


def test_a_mob_in_a_paddock_left_out_as_a_sliver(tmp_path):
    frame = _frame(shapely.box(0, 0, 200, 200), shapely.box(0, 300, 400, 300.5))
    mob = settings()["mob"][0] | {"paddocks": ["Field 1", "Field 2"]}
    text = _only(frame_faults(frame, tmp_path, mob=[mob]))
    assert 'the paddock "Field 2" was left out as a drawing error' in text


def test_width_of_a_strip():
    assert mean_width_m(shapely.box(0, 0, 1000, 2)) == pytest.approx(2.0, rel=0.003)


# --- ground claimed twice ------------------------------------------------------------------------


def test_overlap_goes_to_the_smaller_and_is_reported(tmp_path):
    frame = _frame(shapely.box(0, 0, 300, 200), shapely.box(295, 0, 500, 200))
    holding = read_frame(frame, tmp_path)
    np.testing.assert_allclose(holding.paddocks["area_ha"], [5.9, 4.1], atol=1e-9)
    (repair,) = holding.repairs
    assert (
        'feature 2 ("Field 2"): overlapped "Field 1" by 1000 m²' in repair or "0.10 ha" in repair
    )
    assert '"Field 2", the smaller, keeps it' in repair


def test_overlap_beyond_the_limit_is_a_fault(tmp_path):
    frame = _frame(shapely.box(0, 0, 300, 200), shapely.box(200, 0, 500, 200))
    text = _only(frame_faults(frame, tmp_path))
    assert 'feature 2 ("Field 2"): overlaps paddocks, feature 1 ("Field 1")' in text
    assert "found 2.00 ha, 33 % of the smaller; expected at most 10 %" in text
    assert frame_faults(frame, tmp_path, paddocks={"overlap_share_limit": 0.4}) == []


def test_paddock_inside_another_is_a_fault(tmp_path):
    frame = _frame(shapely.box(0, 0, 400, 400), shapely.box(100, 100, 200, 200))
    assert "cut an inner paddock out of the outer one" in _only(frame_faults(frame, tmp_path))


def test_paddock_drawn_twice(tmp_path):
    box = shapely.box(0, 0, 200, 200)
    same = read_frame(_frame(box, box, names=["Top", "Top"]), tmp_path)
    assert same.paddocks["name"].tolist() == ["Top"]
    assert any("drawn twice" in text for text in same.repairs)
    text = _only(frame_faults(_frame(box, box, names=["Top", "Low"]), tmp_path))
    assert 'feature 2 ("Low"): has the same outline as another paddock' in text


@given(
    st.lists(
        st.tuples(
            st.integers(0, 500), st.integers(0, 500), st.integers(20, 200), st.integers(20, 200)
        ),
        min_size=2,
        max_size=8,
        unique=True,
    )
)
@hypothesis_settings(deadline=None, derandomize=True, max_examples=60)
def test_parted_neighbours_share_no_ground_and_lose_none(boxes):
    shapes = np.array([shapely.box(x, y, x + w, y + h) for x, y, w, h in boxes])
    names = [f"{i}" for i in range(len(shapes))]
    table = gpd.GeoDataFrame({"name": names, "label": names}, geometry=shapes)
    table.attrs["label"] = "boxes"
    parted = part_neighbours(table, 1.0, 0.0, Notes())
    whole = shapely.union_all(shapes).area
    assert shapely.area(parted).sum() == pytest.approx(whole, rel=1e-9)
    assert shapely.union_all(parted).area == pytest.approx(whole, rel=1e-9)


# --- keep-outs and other features ----------------------------------------------------------------


def _write(frame: gpd.GeoDataFrame, path) -> None:
    frame.to_crs("EPSG:4326").to_file(path, driver="GeoJSON")


def test_keep_outs_come_off_the_paddocks(tmp_path):
    write_holding(tmp_path)
    wood = _frame(shapely.box(150, 50, 250, 150), names=["Wood"])
    _write(wood, tmp_path / "wood.geojson")
    holding = read(tmp_path, features={"keep_out": "wood.geojson"})
    np.testing.assert_allclose(holding.paddocks["area_ha"], [3.5, 3.5, 4.0], atol=1e-3)
    assert holding.features.keep_out["name"].tolist() == ["Wood"]
    assert any('Keep-outs take 0.50 ha off "Top Field"' in text for text in holding.warnings)


def test_paddock_wholly_within_a_keep_out(tmp_path):
    write_holding(tmp_path)
    _write(_frame(shapely.box(-10, -10, 210, 210)), tmp_path / "wood.geojson")
    text = _only(faults(tmp_path, features={"keep_out": "wood.geojson"}))
    assert '("Top Field"): lies wholly within keep-outs' in text


def test_features_are_cut_to_the_area_and_flattened(tmp_path):
    write_holding(tmp_path)
    beck = shapely.LineString([(-50_000, 20, 1), (50_000, 20, 1)])
    far = shapely.LineString([(30_000, 30_000), (31_000, 30_000)])
    _write(_frame(beck, far, names=["Beck", "Far"]), tmp_path / "becks.geojson")
    tracks = _frame(shapely.box(10, 10, 20, 50))
    tracks.to_crs("EPSG:27700").to_file(tmp_path / "farm.gpkg", layer="tracks")
    table = {"path": "farm.gpkg", "layer": "tracks"}
    holding = read(tmp_path, features={"watercourses": "becks.geojson", "tracks": table})
    becks = holding.features.watercourses
    assert becks["name"].tolist() == ["Beck"]
    assert becks.length[0] < 2000
    assert not becks.has_z.any()
    assert holding.features.tracks.geom_type.tolist() == ["Polygon"]
    assert holding.features.tracks.crs == holding.crs


def test_gates_become_points(tmp_path):
    write_holding(tmp_path)
    gates = _frame(
        shapely.LineString([(0, 98), (0, 102)]), shapely.MultiPoint([(200, 10), (200, 190)])
    )
    _write(gates, tmp_path / "gates.geojson")
    points = read(tmp_path, features={"gates": "gates.geojson"}).features.gates
    assert points.geom_type.tolist() == ["Point"] * 3
    assert points.index.tolist() == [0, 1, 2]
    middle = points.geometry[0]
    assert (middle.x, middle.y) == pytest.approx((EAST, NORTH + 100), abs=0.01)


def test_features_of_the_wrong_shape(tmp_path):
    write_holding(tmp_path)
    _write(_frame(shapely.LineString([(0, 0), (50, 50)])), tmp_path / "wood.geojson")
    text = _only(faults(tmp_path, features={"keep_out": "wood.geojson"}))
    assert "wood.geojson, feature 1: is not of the shape that keep_out have" in text
    assert "found LineString; expected polygons" in text
