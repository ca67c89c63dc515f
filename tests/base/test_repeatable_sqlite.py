"""A GeoPackage is the same to the byte however often and fast it was changed on the way."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import geopandas as gpd
import pytest
from shapely import Point

from dewpond.base.repeatable_sqlite import settle_geopackage


def made(path: Path, changes: int) -> bytes:
    gpd.GeoDataFrame({"name": ["a"]}, geometry=[Point(1, 2)], crs=27700).to_file(path, layer="a")
    for number in range(changes):
        with closing(sqlite3.connect(path)) as database, database:
            database.execute("UPDATE gpkg_contents SET last_change = ?", (f"{number:024d}",))
    settle_geopackage(path)
    return path.read_bytes()


@pytest.mark.parametrize("changes", [1, 2, 7])
def test_the_count_of_changes_is_not_told(changes: int, tmp_path: Path) -> None:
    assert made(tmp_path / "a.gpkg", 0) == made(tmp_path / f"{changes}.gpkg", changes)


def test_the_file_is_whole(tmp_path: Path) -> None:
    made(tmp_path / "a.gpkg", 3)
    with closing(sqlite3.connect(tmp_path / "a.gpkg")) as database:
        assert database.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert database.execute("SELECT last_change FROM gpkg_contents").fetchall() == [
            ("2000-01-01T00:00:00.000Z",)
        ]
        with database:
            database.execute("UPDATE gpkg_contents SET identifier = 'b'")
    assert list(gpd.read_file(tmp_path / "a.gpkg")["name"]) == ["a"]
