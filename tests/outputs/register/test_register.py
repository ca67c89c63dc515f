"""Rows of many holdings as files: what stands in them, in three formats, and in what order."""

from __future__ import annotations

import csv
import json
import re
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely
from pyarrow import parquet

from dewpond import Plan
from dewpond.outputs.layers import plan_layers
from dewpond.outputs.register import TABLES, Register, Screening, failed_rows, plan_rows
from dewpond.outputs.register.screening import COLUMNS
from farms import plan as planned
from farms import squares

Rows = dict[str, list[dict[str, Any]]]


@pytest.fixture(scope="module")
def sloping() -> Plan:
    """Two fields of 300 m in a row, a tank at the south-west corner, ground rising eastward."""
    return planned(
        squares(2, 1, 300.0),
        lambda x, y: 100.0 + 0.05 * (x - 400_000.0) + 0.0 * y,
        layout={"price_rounds": 0},
        design={"walk_limit_m": 350.0},
        source=[
            {
                "name": "tank", "kind": "header_tank", "at": [400_000.0, 480_000.0],
                "crs": "EPSG:27700", "height_above_ground_m": 20.0,
            }
        ],
    )  # fmt: skip


def rows_of(plan: Plan, holding: str = "one") -> Rows:
    return plan_rows(plan, plan_layers(plan)["paddock"], holding, f"holdings/{holding}")


class TestScreeningFigures:
    """Geometry that can be done by hand: squares of 300 m, water in one corner."""

    def test_distance_from_existing_water(self, sloping: Plan) -> None:
        near, far = rows_of(sloping)["fields"]
        assert near["water_m"] == pytest.approx(0.0, abs=0.01)
        assert far["water_m"] == pytest.approx(300.0, abs=0.01)
        cell = sloping.terrain.cell_m
        assert near["farthest_from_water_m"] == pytest.approx(300 * 2**0.5, abs=cell)
        assert far["farthest_from_water_m"] == pytest.approx(np.hypot(600, 300), abs=cell)

    def test_ground_beyond_the_limit(self, sloping: Plan) -> None:
        """Area of a square outside a circle about its corner, by numeric integration."""
        near, far = rows_of(sloping)["fields"]
        x, y = np.meshgrid(np.arange(0.5, 600), np.arange(0.5, 300))
        beyond = np.hypot(x, y) > 350.0
        for row, part in ((near, beyond[:, :300]), (far, beyond[:, 300:])):
            assert row["beyond_water_ha"] == pytest.approx(part.sum() / 10_000, abs=0.1)
            assert row["beyond_water_share"] == pytest.approx(part.mean(), abs=0.012)
            assert row["beyond_water"] == "part"

    def test_static_head_at_the_highest_ground(self, sloping: Plan) -> None:
        """Still water at 120 m; ground from 100 m to 115 m, then to 130 m."""
        near, far = rows_of(sloping)["fields"]
        assert near["gravity"] == "all"
        assert near["gravity_head_m"] == pytest.approx(5.0, abs=0.5)
        assert far["gravity"] == "part"
        assert far["gravity_head_m"] == pytest.approx(-10.0, abs=0.5)
        assert (far["lowest_ground_m"], far["highest_ground_m"]) == pytest.approx(
            (115.0, 130.0), abs=0.5
        )

    def test_a_pumped_source_is_no_gravity(self) -> None:
        plan = planned(
            squares(1, 1, 200.0), lambda x, y: 100.0 + 0.0 * x,
            source=[{
                "name": "bore", "kind": "borehole", "at": [400_000.0, 480_000.0],
                "crs": "EPSG:27700", "yield_l_min": 60.0, "pump": {"water_level_below_m": 5.0},
            }],
        )  # fmt: skip
        [field] = rows_of(plan)["fields"]
        assert field["gravity"] == "none"
        assert field["gravity_source"] is None
        assert field["gravity_head_m"] is None


class TestRegister:
    def rows(self, sloping: Plan) -> Rows:
        one = rows_of(sloping)
        two = failed_rows("=two", "far off\nand more", place=(-2.0, 54.0))
        return {table: one[table] + two[table] for table in TABLES}

    def write(self, rows: Rows, folder: Path) -> Path:
        folder.mkdir()
        register = Register(folder)
        register.add(rows)
        register.close()
        return folder

    def test_columns_are_the_published_ones(self, sloping: Plan, tmp_path: Path) -> None:
        folder = self.write(self.rows(sloping), tmp_path / "out")
        for table, columns in TABLES.items():
            stored = parquet.read_schema(folder / f"{table}.parquet").names
            assert [name for name in stored if name != "geometry"] == list(columns)
            assert list(pyogrio.read_info(folder / "results.gpkg", layer=table)["fields"]) == list(
                columns
            )

    def test_geoparquet_says_what_the_standard_asks(self, sloping: Plan, tmp_path: Path) -> None:
        """GeoParquet 1.1.0 (OGC): version, primary_column, columns with encoding and types."""
        folder = self.write(self.rows(sloping), tmp_path / "out")
        for table, kind in (("holdings", "Point"), ("fields", "MultiPolygon")):
            told = json.loads(parquet.read_schema(folder / f"{table}.parquet").metadata[b"geo"])
            assert told["version"] == "1.1.0"
            column = told["columns"][told["primary_column"]]
            assert column["encoding"] == "WKB"
            assert column["geometry_types"] == [kind]
            shapes = gpd.read_parquet(folder / f"{table}.parquet")
            assert set(shapes.geom_type.dropna()) == {kind}
            west, south, east, north = shapes.total_bounds
            assert -3 < west < east < -1.9
            assert 53 < south < north < 55

    def test_same_rows_same_bytes(self, sloping: Plan, tmp_path: Path) -> None:
        first = self.write(self.rows(sloping), tmp_path / "a")
        second = self.write(self.rows(sloping), tmp_path / "b")
        for path in first.iterdir():
            assert path.read_bytes() == (second / path.name).read_bytes(), path.name

    def test_no_cell_starts_a_formula_and_lines_stay_lines(
        self, sloping: Plan, tmp_path: Path
    ) -> None:
        folder = self.write(self.rows(sloping), tmp_path / "out")
        with (folder / "holdings.csv").open(newline="") as stream:
            rows = list(csv.DictReader(stream))
        assert [row["holding"] for row in rows] == ["one", "'=two"]
        assert rows[1]["reason"] == "far off; and more"
        assert (rows[1]["longitude"], rows[1]["latitude"]) == ("-2.0", "54.0")

    def test_without_any_field_the_tables_are_there(self, tmp_path: Path) -> None:
        folder = self.write(failed_rows("one", "no data"), tmp_path / "out")
        assert len(gpd.read_parquet(folder / "fields.parquet")) == 0
        assert pyogrio.read_info(folder / "results.gpkg", layer="fields")["features"] == 0
        assert gpd.read_parquet(folder / "holdings.parquet").geometry.iloc[0] is None

    @pytest.mark.slow
    def test_memory_does_not_grow_with_the_number_of_rows(
        self, sloping: Plan, tmp_path: Path
    ) -> None:
        """40,000 fields in a child process: what it holds at most is within 60 MB of 4,000."""
        import subprocess
        import sys

        import_rows = tmp_path / "rows.json"
        import_rows.write_text(json.dumps(self.rows(sloping)))
        code = (
            "import json, sys, resource, pathlib\n"
            "from dewpond.outputs.register import Register\n"
            "rows = json.loads(pathlib.Path(sys.argv[1]).read_text())\n"
            "folder = pathlib.Path(sys.argv[2]); folder.mkdir()\n"
            "register = Register(folder)\n"
            "for _ in range(int(sys.argv[3])): register.add(rows)\n"
            "register.close()\n"
            "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)\n"
        )
        peaks = [
            int(
                subprocess.run(
                    [sys.executable, "-c", code, import_rows, tmp_path / str(count), str(count)],
                    check=True, capture_output=True, text=True,
                ).stdout
            )
            for count in (2_000, 20_000)
        ]  # fmt: skip
        print(f"peak memory {peaks[0] / 1024:.0f} MB and {peaks[1] / 1024:.0f} MB")
        assert peaks[1] - peaks[0] < 60 * 1024


class TestScreeningFile:
    def test_ranked_by_measure_then_by_name(self, tmp_path: Path) -> None:
        def field(holding: str, name: str, ha: float, head: float | None) -> dict[str, Any]:
            return {
                "holding": holding, "field": name, "grazed": True, "area_ha": 4.0,
                "beyond_water": "part", "beyond_water_ha": ha, "farthest_from_water_m": 500.0,
                "gravity": "none", "gravity_head_m": head,
            }  # fmt: skip

        with Screening(tmp_path) as screening:
            screening.add([field("b", "x", 1.0, 3.0), field("b", "w", 1.0, None)])
            screening.add([field("a", "z", 2.0, -1.0)])
            screening.write(tmp_path / "screening.csv")
        table = pd.read_csv(tmp_path / "screening.csv")
        beyond = table[table["question"] == table["question"].iloc[0]]
        assert list(zip(beyond["rank"], beyond["field"], strict=True)) == [
            (1, "z"), (2, "w"), (3, "x"),
        ]  # fmt: skip
        gravity = table[table["question"] != table["question"].iloc[0]]
        assert list(gravity["field"]) == ["x", "z", "w"]
        assert sorted(path.name for path in tmp_path.iterdir()) == ["screening.csv"]


def test_a_share_short_of_all_is_never_written_as_all(sloping: Plan) -> None:
    from dewpond.outputs.register.rows import _value

    assert _value(0.99999, "covered_share", "number") == 0.9999
    assert _value(1.0, "covered_share", "number") == 1.0


def test_a_shape_is_written_as_iso_wkb(sloping: Plan) -> None:
    shape = shapely.from_wkb(rows_of(sloping)["fields"][0]["geometry"])
    assert shape.geom_type == "MultiPolygon"


@pytest.mark.parametrize("table", ["holdings", "fields"])
def test_the_page_names_every_column(table: str, root: Path) -> None:
    page = (root / "docs" / "reference" / "result-files.md").read_text("utf-8")
    (section,) = re.findall(rf"^### Table `{table}`\n(.*?)(?=^##)", page, re.M | re.S)
    rows = [line.split("|")[1] for line in section.splitlines() if line.startswith("| `")]
    assert [name for row in rows for name in re.findall(r"`([^`]+)`", row)] == list(TABLES[table])


def test_the_page_names_the_columns_of_verdicts_and_screening(root: Path) -> None:
    page = (root / "docs" / "reference" / "result-files.md").read_text("utf-8")
    for columns in (TABLES["verdicts"], COLUMNS):
        assert ", ".join(f"`{name}`" for name in columns) in " ".join(page.split())
