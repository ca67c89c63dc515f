"""Breaks as move list, features and map, from a plan whose breaks are made by hand."""

from __future__ import annotations

import csv
import io
import json
import re
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely
from hand_plan import CRS, SOUTH, WEST
from PIL import Image

from dewpond.base.model import Breaks, Plan
from dewpond.outputs import write_plan
from dewpond.outputs.breaks import breaks_csv
from dewpond.outputs.drawing import breaks_map
from dewpond.outputs.layers import plan_layers


def made_breaks(plan: Plan) -> Breaks:
    """Return Beck Meadow in three breaks: at the outlet, by hose, and out of reach."""
    field = plan.holding.paddocks.geometry.loc[1]
    edges = [WEST, WEST + 100, WEST + 200, WEST + 310]
    strips = [
        field.intersection(shapely.box(west, SOUTH - 1, east, SOUTH + 400))
        for west, east in pairwise(edges)
    ]
    outlet = (WEST + 150, SOUTH + 2)
    table = gpd.GeoDataFrame(
        {
            "name": [f"Beck Meadow {i}" for i in (1, 2, 3)],
            "paddock": 1,
            "number": [1, 2, 3],
            "area_ha": [strip.area / 1e4 for strip in strips],
            "outlet": ["outlet 1", "outlet 1", ""],
            "hose_m": [50.04, 0.0, 0.0],
            "walk_m": [310.06, 291.0, np.nan],
            "watered": [True, True, False],
            "reason": ["", "", "no outlet serves this paddock"],
            "fence_m": [290.0, 580.0, 290.0],
            "trough_easting_m": [WEST + 100, outlet[0], np.nan],
            "trough_northing_m": [SOUTH + 2, outlet[1], np.nan],
        },
        geometry=strips,
        crs=CRS,
    )
    hoses = gpd.GeoDataFrame(
        {"length_m": [50.04]},
        geometry=[shapely.LineString([outlet, (WEST + 100, SOUTH + 2)])],
        index=[0],
        crs=CRS,
    )
    none = gpd.GeoDataFrame({"paddock": [], "area_ha": []}, geometry=[], crs=CRS)
    fence = shapely.MultiLineString(
        [[(x, SOUTH), (x, SOUTH + 295)] for x in (WEST + 100, WEST + 200)]
    )
    fences = gpd.GeoDataFrame({"paddock": [1], "length_m": [590.0]}, geometry=[fence], crs=CRS)
    moves = pd.DataFrame(
        {
            "mob": "stores", "move": [1, 2, 3], "paddock": "Beck Meadow",
            "break": table["name"], "area_ha": table["area_ha"], "days": [1.0, 1.25, 0.8],
            "outlet": table["outlet"], "hose_m": table["hose_m"],
            "trough_moves": [True, True, False], "walk_m": table["walk_m"],
            "fence_m": table["fence_m"], "watered": table["watered"], "note": table["reason"],
        }
    )  # fmt: skip
    return Breaks(table, hoses, none, fences, moves, ("Break Beck Meadow 3 has no water",))


@pytest.fixture(scope="module")
def cut(plan: Plan) -> Plan:
    return replace(plan, breaks=made_breaks(plan))


def made(plan: Plan) -> Breaks:
    assert plan.breaks is not None
    return plan.breaks


def test_move_list_is_in_words_and_round_figures(cut: Plan) -> None:
    rows = list(csv.DictReader(io.StringIO(breaks_csv(made(cut)))))
    assert [row["move"] for row in rows] == ["1", "2", "3"]
    assert [row["trough_moves"] for row in rows] == ["yes", "yes", "no"]
    assert [row["walk_m"] for row in rows] == ["310.1", "291.0", ""]
    assert rows[0]["hose_m"] == "50.0"
    assert rows[2]["watered"] == "no"
    assert rows[2]["note"] == "no outlet serves this paddock"


def test_a_name_cannot_pass_for_a_formula(cut: Plan) -> None:
    breaks = made(cut)
    bad = replace(breaks, moves=breaks.moves.assign(paddock="=1+1"))
    assert next(csv.DictReader(io.StringIO(breaks_csv(bad))))["paddock"] == "'=1+1"


def test_features_are_there_only_with_breaks(plan: Plan, cut: Plan) -> None:
    assert not {"break", "hose"} & set(plan_layers(plan))
    layers = plan_layers(cut)
    assert list(layers["break"]["outlet"]) == ["outlet 1", "outlet 1", None]
    assert list(layers["hose"]["break"]) == ["Beck Meadow 1"]
    assert layers["break"].crs == CRS


def test_columns_are_those_of_the_page(cut: Plan, root: Path) -> None:
    page = (root / "docs" / "reference" / "result-files.md").read_text("utf-8")
    layers = plan_layers(cut)
    for kind in ("break", "hose"):
        (section,) = re.findall(rf"^### `{kind}`\n(.*?)(?=^##)", page, re.M | re.S)
        rows = [line.split("|")[1] for line in section.splitlines() if line.startswith("| `")]
        named = {name for row in rows for name in re.findall(r"`([^`]+)`", row)}
        assert named == {column for column in layers[kind].columns if column != "geometry"}


def test_files_of_a_plan_with_breaks(cut: Plan, tmp_path: Path) -> None:
    folder = tmp_path / "plan"
    paths = write_plan(cut, folder)
    assert {"maps/breaks.png", "breaks.csv"} <= {
        path.relative_to(folder).as_posix() for path in paths
    }
    kinds = [f["properties"]["kind"] for f in json.loads((folder / "plan.geojson").read_text())[
        "features"]]  # fmt: skip
    assert (kinds.count("break"), kinds.count("hose")) == (3, 1)
    layers = dict(pyogrio.list_layers(folder / "plan.gpkg"))
    assert (layers["break"], layers["hose"]) == ("MultiPolygon", "LineString")
    with Image.open(folder / "maps" / "breaks.png") as image:
        assert min(image.size) > 600


class TestMap:
    def test_key_lists_what_is_drawn(self, cut: Plan) -> None:
        figure = breaks_map(cut, made(cut), plan_layers(cut))
        (legend,) = figure.legends
        labels = [text.get_text() for text in legend.get_texts()]
        for label in ("Hose", "Temporary fence", "Break without water in reach"):
            assert label in labels
        assert "Lane back to water" not in labels

    def test_every_break_bears_its_number(self, cut: Plan) -> None:
        axes = breaks_map(cut, made(cut), plan_layers(cut)).axes[0]
        table = made(cut).breaks
        for number, shape in zip(table["number"], table.geometry, strict=True):
            assert any(
                text.get_text() == str(number)
                and shape.contains(shapely.Point(text.get_position()))
                for text in axes.texts
            )

    def test_subtitle_counts_breaks_without_water(self, cut: Plan) -> None:
        texts = [text.get_text() for text in breaks_map(cut, made(cut), plan_layers(cut)).texts]
        assert any("3 breaks" in text and "1 without water in reach" in text for text in texts)
