"""Levels taken on site: tables and GPX, and everything that may be wrong with them."""

from __future__ import annotations

from pathlib import Path

import pyproj
import pytest
from read_world import EAST, NORTH, UTM, faults, plane_m, read, write_holding

CARRY = pyproj.Transformer.from_crs(UTM, "EPSG:4326", always_xy=True)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return write_holding(tmp_path)


def table(folder: Path, *rows: str, header: str = "name,easting,northing,level") -> None:
    (folder / "levels.csv").write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")


def gpx(folder: Path, *points: tuple[str, float, float, float | None]) -> None:
    """Write GPX 1.1 waypoints at UTM offsets from the corner of the paddocks."""
    spelled = []
    for name, east, north, level in points:
        lon, lat = CARRY.transform(EAST + east, NORTH + north)
        ele = "" if level is None else f"<ele>{level}</ele>"
        spelled.append(f'<wpt lat="{lat:.9f}" lon="{lon:.9f}">{ele}<name>{name}</name></wpt>')
    (folder / "levels.gpx").write_text(
        '<?xml version="1.0" encoding="UTF-8"?><gpx version="1.1" creator="test" '
        f'xmlns="http://www.topografix.com/GPX/1/1">{"".join(spelled)}</gpx>',
        encoding="utf-8",
    )


def terrain(**more: object) -> dict[str, object]:
    return {"levels": "levels.csv", "levels_crs": UTM, **more}


def row(name: str, east: float, north: float, above_m: float = 0.0, more: str = "") -> str:
    x, y = EAST + east, NORTH + north
    return f"{name},{x},{y},{plane_m(x, y) + above_m:.3f}{more}"


# -- what is read -------------------------------------------------------------------------------


def test_table_in_easting_and_northing(folder):
    table(folder, row("gate", 50, 60, 0.5, ",0.02,by staff"), row("top", 350, 120, -0.3, ",,"),
          header="name,easting,northing,level,deviation,note")  # fmt: skip
    levels = read(folder, terrain=terrain()).levels
    assert levels["name"].tolist() == ["gate", "top"]
    assert levels["easting_m"].tolist() == pytest.approx([EAST + 50, EAST + 350])
    assert levels["level_m"].iloc[0] == pytest.approx(plane_m(EAST + 50, NORTH + 60) + 0.5)
    assert levels["deviation_m"].tolist() == [0.02, 0.05]


def test_table_in_longitude_and_latitude_and_feet(folder):
    lon, lat = CARRY.transform(EAST + 100, NORTH + 100)
    feet = plane_m(EAST + 100, NORTH + 100) / 0.3048
    table(folder, f"one,{lon:.9f},{lat:.9f},{feet:.4f}", header="name,lon,lat,level")
    levels = read(folder, terrain={"levels": "levels.csv", "levels_unit": "foot"}).levels
    assert levels["easting_m"].iloc[0] == pytest.approx(EAST + 100, abs=1e-3)
    assert levels["level_m"].iloc[0] == pytest.approx(plane_m(EAST + 100, NORTH + 100), abs=1e-4)


def test_easting_and_northing_are_in_the_working_crs(folder):
    table(folder, row("gate", 50, 60))
    levels = read(folder, terrain={"levels": "levels.csv"}).levels
    assert levels["easting_m"].tolist() == pytest.approx([EAST + 50])


def test_rows_without_a_level_wait_for_one(folder):
    table(folder, row("gate", 50, 60), f"later,{EAST + 10},{NORTH + 10},")
    holding = read(folder, terrain=terrain())
    assert holding.levels["name"].tolist() == ["gate"]
    assert "levels.csv: 1 of 2 rows hold no level yet." in holding.warnings


def test_waypoints_of_a_receiver(folder):
    gpx(folder, ("gate", 50, 60, 155.25), ("top", 300, 20, 163.5))
    holding = read(folder, terrain={"levels": "levels.gpx", "levels_deviation_m": 0.03})
    assert holding.levels["name"].tolist() == ["gate", "top"]
    assert holding.levels["northing_m"].tolist() == pytest.approx(
        [NORTH + 60, NORTH + 20], abs=0.01
    )
    assert holding.levels["level_m"].tolist() == [155.25, 163.5]
    assert holding.levels["deviation_m"].tolist() == [0.03, 0.03]
    assert len(holding.inputs["levels.gpx"]) == 64


def test_no_levels_leave_an_empty_table(folder):
    assert read(folder).levels.empty


# -- what is refused ----------------------------------------------------------------------------


def test_every_fault_at_once(folder):
    table(
        folder,
        row("gate", 50, 60),
        row("gate", 90, 60),
        row("twin", 50.01, 60, 0.1),
        row("far", 50_000, 60),
        row("wild", 150, 100, 45.0),
    )
    cows = {"name": "cows", "species": "cattle", "head": 4, "weight_kg": 600.0}
    found = faults(folder, terrain=terrain(), mob=[{**cows, "paddocks": ["No Field"]}])
    text = "\n".join(found)
    assert len(found) == 5
    assert 'levels.csv, row 2 ("gate"): the name "gate" stands 2 times' in text
    assert 'levels.csv, row 3 ("twin"): stands at the very place of another level' in text
    assert 'levels.csv, row 4 ("far"): lies where no elevation raster has a height' in text
    assert 'levels.csv, row 5 ("wild"): lies absurdly far from the elevation raster' in text
    assert "is not the name of a paddock" in text


def test_waypoint_without_a_height_and_accuracy_not_stated(folder):
    gpx(folder, ("gate", 50, 60, 155.0), ("ghost", 300, 20, None))
    found = faults(folder, terrain={"levels": "levels.gpx"})
    assert len(found) == 2
    assert "[terrain], levels_deviation_m: is missing" in found[0]
    assert 'levels.gpx, waypoint 2 ("ghost"): has no height' in found[1]


@pytest.mark.parametrize(
    ("rows", "header", "more", "text"),
    [
        (["a,1,2"], "name,easting,northing", {}, 'column "level" is missing'),
        (["a,x,2,3"], "name,easting,northing,level", {}, "line 2, easting: will not do"),
        (["a,400,2,3"], "name,lon,lat,level", {}, "line 2, lon: will not do"),
        (["a,1,2,3,4"], "name,easting,northing,level,deviaton", {}, 'did you mean "deviation"'),
        (["a,1,2,3,-1"], "name,easting,northing,level,deviation", {}, "at least 0"),
        (["a,1,2,"], "name,easting,northing,level", {}, "holds no level"),
        ([], "name,easting,northing,level", {}, "holds no rows"),
        (["a,1,2,3"], "name,easting,northing,level", {"levels_crs": "EPSG:1"}, "not a known CRS"),
        (["a,1,2,3"], "name,easting,northing,level", {"levels_crs": "EPSG:4326"}, "in degrees"),
        (["a,1,2,3"], "name,easting,northing,level", {"levels": "no.csv"}, "does not exist"),
        (["a,1,2,3"], "name,easting,northing,level", {"levels": "terrain.tif"}, "neither a table"),
    ],
)  # fmt: skip
def test_tables_that_will_not_do(folder, rows, header, more, text):
    table(folder, *rows, header=header)
    settings = {key: value for key, value in terrain(**more).items() if value is not None}
    found = faults(folder, terrain=settings)
    assert any(text in fault for fault in found), found


def test_gpx_of_a_track_holds_no_waypoint(folder):
    gpx(folder)
    (text,) = faults(folder, terrain={"levels": "levels.gpx", "levels_deviation_m": 1.0})
    assert "holds no waypoint" in text


def test_datum_of_the_levels_is_compared(folder):
    table(folder, row("gate", 50, 60))
    (text,) = faults(folder, terrain=terrain(height_datum="Newlyn", levels_datum="EGM2008"))
    assert text.startswith("[terrain], levels_datum: states a height datum that differs")
    assert read(folder, terrain=terrain(height_datum="Newlyn", levels_datum="ODN")).levels.size


# -- doubt --------------------------------------------------------------------------------------


def doubts(folder: Path, **more: object) -> list[str]:
    settings = terrain(height_data="lidar 1 m", **more)
    return [text for text in read(folder, terrain=settings).warnings if "Doubtful" in text]


def test_a_level_four_deviations_off_is_named(folder):
    table(folder, row("gate", 50, 60), row("bank", 300, 60, 2.0), row("top", 500, 60))
    (text,) = doubts(folder)
    assert 'levels.csv, row 2 ("bank"), +2.0 m from the raster' in text
    assert '"gate"' not in text


def test_levels_all_off_alike_point_to_the_datum(folder):
    table(folder, *(row(f"p{n}", 60 * n + 5, 60, 5.0 + 0.01 * n) for n in range(5)))
    (text,) = doubts(folder)
    assert "+5.0 m from the raster all together: check their datum" in text


def test_levels_in_feet_are_guessed(folder):
    x, y = EAST + 100, NORTH + 100
    table(folder, f"one,{x},{y},{plane_m(x, y) / 0.3048:.2f}")
    (text,) = faults(folder, terrain=terrain())
    assert 'set levels_unit = "foot"' in text
