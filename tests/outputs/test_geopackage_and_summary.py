"""GeoPackage layers and the summary against the plan."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
from hand_plan import with_scheme

from dewpond.base.model import Plan, Proof
from dewpond.outputs.geopackage import write_geopackage
from dewpond.outputs.layers import plan_layers
from dewpond.outputs.summary import summary_text


@pytest.fixture(scope="module")
def package(plan: Plan, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("gpkg") / "plan.gpkg"
    write_geopackage(plan_layers(plan), path)
    return path


def test_layers_and_types(package: Path, plan: Plan) -> None:
    layers = dict(pyogrio.list_layers(package).tolist())
    assert layers == {
        "paddock": "MultiPolygon", "outlet": "Point", "pipe": "LineString", "source": "Point",
        "tank": "Point", "pump": "Point", "air_valve": "Point", "washout": "Point",
        "break_tank": "Point", "reducing_valve": "Point", "stop_valve": "Point",
        "meter": "Point", "drain": "Point", "uncovered": "MultiPolygon",
        "survey_point": "Point",
    }  # fmt: skip
    for name in layers:
        info = pyogrio.read_info(package, layer=name)
        assert info["crs"] == "EPSG:27700"


def test_rows_come_back_as_written(package: Path, plan: Plan) -> None:
    for kind, layer in plan_layers(plan).items():
        read = gpd.read_file(package, layer=kind)
        assert len(read) == len(layer)
        assert read.geometry.geom_equals_exact(
            layer.geometry if kind not in {"paddock", "uncovered"} else read.geometry, 1e-9
        ).all()
        assert np.isclose(read.area.sum(), layer.area.sum())
        for column in layer.select_dtypes("number").columns:
            np.testing.assert_array_equal(read[column].to_numpy(float), layer[column].to_numpy())


def test_lists_are_text(package: Path) -> None:
    outlets = gpd.read_file(package, layer="outlet").set_index("name")
    assert outlets.loc["outlet 3", "serves"] == "Top Field; Beck Meadow; Long Pasture; Ghyll"


def test_an_empty_layer_keeps_its_columns(plan: Plan, tmp_path: Path) -> None:
    layers = {kind: layer.iloc[:0] for kind, layer in plan_layers(plan).items()}
    write_geopackage(layers, tmp_path / "empty.gpkg")
    for kind, layer in layers.items():
        info = pyogrio.read_info(tmp_path / "empty.gpkg", layer=kind)
        assert list(info["fields"]) == [c for c in layer.columns if c != "geometry"]
        assert info["features"] == 0


def test_nothing_in_the_file_tells_the_time(package: Path) -> None:
    with closing(sqlite3.connect(package)) as database:
        times = {row[0] for row in database.execute("SELECT last_change FROM gpkg_contents")}
    assert times == {"2000-01-01T00:00:00.000Z"}


def test_summary_holds_the_contract(plan: Plan) -> None:
    summary = json.loads(summary_text(plan, ["plan.geojson", "summary.json"]))
    assert set(summary) >= {
        "totals", "verdicts", "optimisation", "warnings", "repairs", "settings", "versions",
        "inputs", "crs", "walking_grid", "files",
    }  # fmt: skip
    confidence = summary["confidence"]
    assert confidence["chance_all"] == 0.69
    assert confidence["safer_design"]["feasible"] is True
    assert [row["name"] for row in confidence["outlets"]] == list(plan.scheme.sizes.outlets.index)
    assert confidence["advice"].startswith("Outlet 4 works in 7 of 10 cases")
    without = json.loads(summary_text(replace(plan, confidence=None), []))
    assert without["confidence"] is None
    assert summary["totals"] == pytest.approx(dict(plan.totals))
    assert set(summary["verdicts"][0]) == {
        "requirement", "figure", "limit", "unit", "met", "where", "remedy",
    }  # fmt: skip
    assert summary["met"] is False
    assert summary["inputs"]["terrain.tif"] == {"sha256": "ab" * 32}
    assert summary["crs"]["code"] == "EPSG:27700"
    assert summary["walking_grid"] == {"cell_m": 10.0, "reason": "10 m suits the test"}
    assert summary["settings"]["design"]["walk_limit_m"] == 240.0
    assert summary["warnings"] == list(plan.warnings)
    assert summary["warnings"][0] == "Ghyll is steep"
    routing = summary["optimisation"]["layout"]
    assert routing["gap"] == pytest.approx((5321.5 - 5000) / 5321.5)
    assert set(routing) >= {"cost", "bound", "gap", "seconds", "status"}
    sizing = summary["optimisation"]["sizing"]
    assert (sizing["cost"], sizing["bound"]) == (601.2, 600.9)


def test_summary_says_what_came_of_every_source(plan: Plan) -> None:
    summary = json.loads(summary_text(plan, []))
    main, tank = summary["sources"]
    assert (main["name"], main["chosen"], main["met"]) == ("road main", True, False)
    assert (tank["name"], tank["chosen"]) == ("hill tank", False)
    assert main["remedies"] == []
    assert [remedy["works"] for remedy in tank["remedies"]] == [True, False]
    assert tank["falls_short"][-1]["requirement"] == "hill tank: flow at the source"
    assert all(not verdict["met"] for verdict in tank["falls_short"])


def test_summary_holds_supply_and_isolation(plan: Plan) -> None:
    summary = json.loads(summary_text(plan, []))
    supply = summary["supply"]
    assert supply["tank"]["volume_l"] == 3500.0
    assert supply["pump"]["suction_lift_m"] is None
    assert supply["judgements"][0]["limit"] == 14.3
    assert supply["cautions"] == ["An air gap above the spill level is asked for on a main."]
    assert summary["isolation"]["sections"][1] == {
        "stop_valve": "stop valve 2", "outlets_shut": ["outlet 2"], "dry_share": 0.25,
    }  # fmt: skip


def test_a_warning_is_given_once(plan: Plan) -> None:
    twice = replace(
        plan, demand=replace(plan.demand, warnings=("Ghyll is steep", "hot", "Ghyll is steep"))
    )
    warnings = json.loads(summary_text(twice, []))["warnings"]
    assert warnings[:2] == ["Ghyll is steep", "hot"]
    assert len(warnings) == len(set(warnings))


def test_summary_is_strict_json(plan: Plan) -> None:
    proof = Proof(np.inf, np.nan, 0.0, "stopped")
    text = summary_text(with_scheme(plan, network=replace(plan.network, proof=proof)), [])
    parsed = json.loads(text, parse_constant=lambda name: pytest.fail(f"{name} in the file"))
    assert parsed["optimisation"]["layout"]["cost"] is None
