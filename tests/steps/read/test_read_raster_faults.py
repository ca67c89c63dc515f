"""Rasters that cannot be used: one clear fault each."""

from __future__ import annotations

import numpy as np
import pytest
import rasterio
import shapely
from affine import Affine
from read_world import (
    EAST,
    NORTH,
    UTM,
    faults,
    plane_m,
    read,
    settings,
    squares,
    write_dem,
    write_holding,
)

from dewpond.base.errors import InputError
from dewpond.base.settings import project_from_dict
from dewpond.steps.read import read_holding

GEOGRAPHIC = {"crs": "EPSG:4326", "posting": 1e-4}


def _only(texts: list[str]) -> str:
    assert len(texts) == 1, texts
    return texts[0]


@pytest.fixture
def folder(tmp_path):
    return write_holding(tmp_path, dem=False)


def test_paddocks_written_latitude_first_are_told_so(tmp_path):
    folder = write_holding(tmp_path)
    frame = squares().to_crs("EPSG:4326")
    shapes = shapely.transform(frame.geometry.to_numpy(), lambda points: points[:, ::-1])
    frame.set_geometry(shapes).set_crs("EPSG:4326", allow_override=True).to_file(
        folder / "paddocks.geojson", driver="GeoJSON"
    )
    (text,) = [text for text in faults(folder) if "does not overlap" in text]
    assert "with longitude and latitude exchanged" in text


def test_no_overlap_gives_both_extents(folder):
    write_dem(folder / "terrain.tif", corners=(20_000, 20_000, 21_000, 21_000))
    text = _only(faults(folder))
    assert text.startswith("terrain.tif: does not overlap the paddocks")
    assert "elevation at terrain.tif longitude -1.8" in text
    assert "paddocks at longitude -2.2" in text
    assert "mend the CRS" in text


def test_a_raster_half_a_world_away(folder):
    with rasterio.open(
        folder / "terrain.tif",
        "w",
        driver="GTiff",
        width=20,
        height=20,
        count=1,
        dtype="float32",
        crs="EPSG:28355",
        transform=Affine(10, 0, 630_000, 0, -10, 6_196_000),
    ) as target:
        target.write(np.full((20, 20), 500, dtype="float32"), 1)
    assert "does not overlap" in _only(faults(folder))


def test_missing_crs(folder):
    path = write_dem(folder / "made.tif")
    with (
        rasterio.open(path) as made,
        rasterio.open(folder / "terrain.tif", "w", **{**made.profile, "crs": None}) as target,
    ):
        target.write(made.read())
    text = _only(faults(folder))
    assert text.startswith("terrain.tif: has no CRS")
    assert ".prj" in text


@pytest.mark.parametrize(
    ("dem", "found"),
    [
        (GEOGRAPHIC, "a map CRS in degree (WGS 84)"),
        (
            {"crs": "+proj=tmerc +lon_0=-2 +lat_0=53 +datum=WGS84 +units=us-ft", "posting": 30.0},
            "a map CRS in US survey foot",
        ),
        ({"unit": "fathom"}, 'the unit "fathom"'),
    ],
)
def test_unknown_height_unit(folder, dem, found):
    write_dem(folder / "terrain.tif", **dem)
    text = _only(faults(folder))
    assert text.startswith("terrain.tif: the unit of its heights is unknown")
    assert found in text
    assert 'height_unit = "metre" or "foot"' in text


def test_projected_metres_without_unit_are_metres_with_a_warning(folder):
    write_dem(folder / "terrain.tif")
    (warning,) = read(folder).warnings
    assert warning.startswith(
        "terrain.tif: the unit of the heights is not stated; taken to be metres"
    )


def test_unit_stated_twice_and_differently(folder):
    write_dem(folder / "terrain.tif", unit="m")
    text = _only(faults(folder, terrain={"height_unit": "foot"}))
    assert "[terrain], height_unit: contradicts terrain.tif" in text
    assert 'found "foot", where the band is in "m"' in text


def test_all_nodata(folder):
    write_dem(folder / "terrain.tif", nodata=-1, height=lambda e, n: np.full(e.shape, -1.0))
    text = _only(faults(folder))
    assert text.startswith("terrain.tif: holds no heights at the holding")
    assert "nodata in every cell" in text


def test_empty_missing_and_foreign_files_at_once(folder):
    (folder / "empty.tif").write_bytes(b"")
    (folder / "text.tif").write_text("not a raster")
    texts = faults(folder, terrain={"elevation": ["empty.tif", "gone.tif", "text.tif"]})
    assert len(texts) == 3
    assert "the file empty.tif is empty; found 0 bytes" in texts[0]
    assert "the file gone.tif does not exist" in texts[1]
    assert "the file text.tif cannot be read as a raster" in texts[2]


def test_half_downloaded_raster(folder):
    whole = write_dem(folder / "whole.tif")
    (folder / "terrain.tif").write_bytes(whole.read_bytes()[:20_000])
    text = _only(faults(folder))
    assert text.startswith("terrain.tif: cannot be read to the end")
    assert "download or export it again" in text


def test_folders_and_the_wrong_kind_of_file(folder):
    write_dem(folder / "terrain.tif", unit="m")
    texts = faults(folder, terrain={"elevation": "."}, paddocks={"boundaries": "terrain.tif"})
    assert len(texts) == 2
    assert "terrain.tif cannot be read as vector data" in texts[0]
    assert "the file . cannot be read as a raster" in texts[1]


def test_all_nodata_is_told_beside_other_faults(folder):
    write_dem(folder / "terrain.tif", nodata=-1, height=lambda e, n: np.full(e.shape, -1.0))
    texts = faults(folder, holding={"crs": "EPSG:4326"})
    assert len(texts) == 2
    assert "holds no heights" in texts[1]


def test_unknown_datum_shift_is_told(folder):
    """An ellipsoid alone does not say how it lies on the ground."""
    crs = "+proj=tmerc +lat_0=53.5 +lon_0=-2 +ellps=intl +units=m +no_defs"
    write_dem(folder / "terrain.tif", crs=crs, unit="m")
    (warning,) = read(folder).warnings
    assert warning.startswith("terrain.tif: the datum shift from")
    assert "not known" in warning


def test_picture_in_place_of_heights(folder):
    with rasterio.open(
        folder / "terrain.tif",
        "w",
        driver="GTiff",
        width=100,
        height=100,
        count=3,
        dtype="uint8",
        photometric="RGB",
        crs=UTM,
        transform=Affine(10, 0, EAST - 400, 0, -10, NORTH + 600),
    ) as target:
        target.write(np.zeros((3, 100, 100), dtype="uint8"))
    assert "is a picture, not heights; found bands red, green, blue" in _only(faults(folder))


def test_raster_without_placement(folder):
    with pytest.warns(rasterio.errors.NotGeoreferencedWarning), rasterio.open(
        folder / "terrain.tif", "w", driver="GTiff", width=9, height=9, count=1, dtype="uint8",
        crs=UTM,
    ) as target:  # fmt: skip
        target.write(np.ones((1, 9, 9), dtype="uint8"))
    assert "has no placement on the ground" in _only(faults(folder))


def test_elevation_not_named_at_all(folder):
    texts = faults(folder, terrain=None)
    assert _only(texts).startswith("[terrain], elevation: is missing")


@pytest.mark.parametrize("stated", ["Newlyn", "ODN", "AOD", "Ordnance Datum Newlyn", "EPSG:5701"])
def test_names_of_one_datum_agree(folder, stated):
    write_dem(folder / "terrain.tif", crs="EPSG:27700+5701")
    assert faults(folder, terrain={"height_datum": stated}) == []


def test_project_file_and_raster_disagree_on_the_datum(folder):
    write_dem(folder / "terrain.tif", crs="EPSG:27700+5701")
    text = _only(faults(folder, terrain={"height_datum": "EGM2008"}))
    assert text.startswith("terrain.tif: states a height datum that differs")
    assert 'found "ODN height"' in text
    assert 'expected "EGM2008", as stated by [terrain], height_datum' in text


def test_mosaic_members_disagree_on_the_datum(folder):
    write_dem(folder / "a.tif", crs="EPSG:27700+5701")
    write_dem(folder / "b.tif", crs="EPSG:32630+3855")
    text = _only(faults(folder, terrain={"elevation": ["a.tif", "b.tif"]}))
    assert text.startswith("b.tif: states a height datum")
    assert "EGM2008" in text


def test_source_level_in_another_datum(folder):
    write_dem(folder / "terrain.tif", unit="m")
    source = settings()["source"][0] | {"level_m": 150.0, "level_datum": "EGM96"}
    text = _only(faults(folder, terrain={"height_datum": "EGM2008"}, source=[source]))
    assert text.startswith('[[source]] 1 ("main"), level_datum: states a height datum')
    (warning,) = read(folder, source=[source]).warnings
    assert "cannot be compared" in warning


def test_chosen_source_beyond_the_raster_needs_a_level(folder):
    write_dem(folder / "terrain.tif", corners=(-300, -300, 1000, 600), unit="m")
    far = settings()["source"][0] | {"at": [EAST - 1500, NORTH]}
    text = _only(faults(folder, source=[far]))
    assert '[[source]] "main": has no ground level' in text
    assert faults(folder, source=[far | {"level_m": 120.0}]) == []
    near = settings()["source"][0] | {"name": "tank"}
    (warning,) = read(folder, source=[near, far]).warnings
    assert 'Source "main"' in warning


def test_faults_of_every_kind_come_at_once(tmp_path):
    frame_folder = write_holding(tmp_path, dem=False)
    write_dem(tmp_path / "terrain.tif", **GEOGRAPHIC)
    project = project_from_dict(
        settings(
            holding={"crs": "EPSG:3857"},
            features={"gates": "gone.geojson"},
            mob=[settings()["mob"][0] | {"paddocks": ["Top Feild"]}],
            source=[settings()["source"][0] | {"at": [0.0, 0.0]}],
        ),
        folder=frame_folder,
    )
    with pytest.raises(InputError) as caught:
        read_holding(project)
    texts = [str(fault) for fault in caught.value.faults]
    assert len(texts) == 5
    for part in (
        "web Mercator",
        "gone.geojson",
        "Top Feild",
        "far outside",
        "unit of its heights",
    ):
        assert sum(part in text for text in texts) == 1, part


def test_plane_is_what_the_helpers_say():
    assert plane_m(EAST + 100, NORTH + 100) == pytest.approx(152.0)
