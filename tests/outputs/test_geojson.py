"""GeoJSON against RFC 7946 and the published contract of the result files."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import shapely

from dewpond.base.model import Plan
from dewpond.outputs.geojson import geojson_text
from dewpond.outputs.layers import plan_layers

# DESIGN of the result files: columns by kind, in their order.
CONTRACT = {
    "paddock": [
        "name", "area_ha", "mobs", "daily_demand_l", "design_flow_l_min", "covered_share",
        "farthest_walk_m", "mean_walk_m",
    ],
    "outlet": [
        "name", "serves", "ground_level_m", "static_head_m", "residual_head_m",
        "design_flow_l_min", "available_flow_l_min", "trough", "fittings", "notes",
    ],
    "pipe": [
        "name", "from", "to", "length_m", "outside_diameter_mm", "inside_diameter_mm",
        "pressure_class_bar", "design_flow_l_min", "velocity_m_s", "friction_loss_m",
        "static_head_m", "highest_static_head_m", "lowest_static_head_m",
        "lowest_residual_head_m", "laying", "crossings",
    ],
}  # fmt: skip
ADDED = {
    "outlet": {
        "needed_head_m", "served", "trough_volume_l", "parcels", "troughs", "float_valve_seat_mm",
        "chance", "spare_head_low_m", "spare_head_high_m",
    },
    "pipe": {"material", "sdr", "notes", "parcels", "fence_m", "track_m", "open_ground_m"},
    "paddock": {"parcel"},
}  # fmt: skip


@pytest.fixture(scope="module")
def collection(plan: Plan) -> dict[str, Any]:
    parsed: dict[str, Any] = json.loads(geojson_text(plan_layers(plan)))
    return parsed


def features(collection: dict[str, Any], kind: str) -> list[dict[str, Any]]:
    return [f for f in collection["features"] if f["properties"]["kind"] == kind]


def positions(geometry: dict[str, Any]) -> Iterator[list[float]]:
    def walk(value: Any) -> Iterator[list[float]]:
        if isinstance(value[0], int | float):
            yield value
        else:
            for item in value:
                yield from walk(item)

    return walk(geometry["coordinates"])


def rings(geometry: dict[str, Any]) -> Iterator[tuple[int, list[list[float]]]]:
    polygons = {"Polygon": [geometry["coordinates"]], "MultiPolygon": geometry["coordinates"]}
    for polygon in polygons.get(geometry["type"], []):
        yield from enumerate(polygon)


def signed_area(ring: list[list[float]]) -> float:
    x, y = np.array(ring).T
    return float(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1]) / 2)


class TestStandard:
    def test_collection(self, collection: dict[str, Any]) -> None:
        assert collection["type"] == "FeatureCollection"
        assert "crs" not in collection  # section 4: WGS 84 and nothing else
        assert {f["type"] for f in collection["features"]} == {"Feature"}
        assert all({"type", "properties", "geometry"} == set(f) for f in collection["features"])

    def test_positions_are_longitude_latitude(self, collection: dict[str, Any]) -> None:
        for feature in collection["features"]:
            for position in positions(feature["geometry"]):
                longitude, latitude = position  # exactly two: section 3.1.1
                # SD or SE of the National Grid: two degrees west, fifty-four north.
                assert -2.1 < longitude < -1.9
                assert 54.1 < latitude < 54.3
                assert round(longitude, 7) == longitude
                assert round(latitude, 7) == latitude

    def test_rings_close_and_follow_the_right_hand_rule(self, collection: dict[str, Any]) -> None:
        seen = 0
        for feature in collection["features"]:
            for index, ring in rings(feature["geometry"]):
                seen += index
                assert len(ring) >= 4
                assert ring[0] == ring[-1]
                assert (signed_area(ring) > 0) == (index == 0)  # section 3.1.6
        assert seen > 0, "no hole was tested"

    def test_box_bounds_every_position(self, collection: dict[str, Any]) -> None:
        points = np.array([p for f in collection["features"] for p in positions(f["geometry"])])
        expected = [*points.min(axis=0), *points.max(axis=0)]
        assert collection["bbox"] == pytest.approx(expected, abs=1e-12)

    def test_a_shape_across_180_degrees_is_cut(self) -> None:
        """RFC 7946 sections 3.1.9 and 5.2: cut in two, and the box runs from west to east."""
        fiji = gpd.GeoSeries([shapely.box(179.99, -17, 180.01, -16.99)], crs=4326).to_crs(32701)
        line = gpd.GeoSeries([shapely.LineString([(179.995, -17), (180.005, -17)])], crs=4326)
        layers = {
            "paddock": gpd.GeoDataFrame({"name": ["beach"]}, geometry=fiji),
            "pipe": gpd.GeoDataFrame({"name": ["reef"]}, geometry=line.to_crs(32701)),
        }
        collection = json.loads(geojson_text(layers))
        paddock, pipe = (f["geometry"] for f in collection["features"])
        assert (paddock["type"], pipe["type"]) == ("MultiPolygon", "MultiLineString")
        for geometry in (paddock, pipe):
            for part in geometry["coordinates"]:
                x = [p[0] for p in positions({"coordinates": part})]
                assert max(x) - min(x) < 0.02
        west, _, east, _ = collection["bbox"]
        assert west == pytest.approx(179.99, abs=1e-6)
        assert east == pytest.approx(-179.99, abs=1e-6)

    def test_names_that_would_break_markup_or_sheets_stay_as_they_are(self) -> None:
        names = ["<script>alert(1)</script>", '=HYPERLINK("x")', "a/b\\c", "Žďár\u0007\n$x$"]
        layer = gpd.GeoDataFrame(
            {"name": names}, geometry=[shapely.Point(0, 0)] * len(names), crs=4326
        )
        collection = json.loads(geojson_text({"outlet": layer}))
        assert [f["properties"]["name"] for f in collection["features"]] == names

    def test_unknown_is_null_never_nan(self) -> None:
        layer = gpd.GeoDataFrame(
            {"name": ["x"], "head_m": [np.nan], "flow": [np.inf]},
            geometry=[shapely.Point(1, 2)],
            crs=4326,
        )
        (feature,) = json.loads(geojson_text({"outlet": layer}))["features"]
        assert feature["properties"] == {
            "kind": "outlet", "name": "x", "head_m": None, "flow": None,
        }  # fmt: skip


class TestContract:
    @pytest.mark.parametrize("kind", CONTRACT)
    def test_columns_in_their_order(self, collection: dict[str, Any], kind: str) -> None:
        for feature in features(collection, kind):
            columns = list(feature["properties"])
            assert [c for c in columns if c not in ADDED[kind]] == ["kind", *CONTRACT[kind]]
            assert set(columns) >= ADDED[kind]

    def test_every_kind_has_a_name(self, collection: dict[str, Any]) -> None:
        kinds = {f["properties"]["kind"] for f in collection["features"]}
        assert kinds == {
            "paddock", "outlet", "pipe", "source", "tank", "pump", "air_valve", "washout",
            "break_tank", "stop_valve", "meter", "drain", "uncovered", "survey_point",
        }  # fmt: skip
        assert all(f["properties"]["name"] for f in collection["features"])

    def test_lists_are_lists(self, collection: dict[str, Any]) -> None:
        outlet = {f["properties"]["name"]: f["properties"] for f in features(collection, "outlet")}
        assert outlet["outlet 3"]["serves"] == [
            "Top Field",
            "Beck Meadow",
            "Long Pasture",
            "Ghyll",
        ]
        crossings = [f["properties"]["crossings"] for f in features(collection, "pipe")]
        assert crossings[2] == ["watercourse", "watercourse"]
        assert crossings[1] == []

    def test_opens_with_usable_fields(self, plan: Plan, tmp_path: Any) -> None:
        path = tmp_path / "plan.geojson"
        path.write_text(geojson_text(plan_layers(plan)), encoding="utf-8")
        info = pyogrio.read_info(path)
        assert info["crs"] == "EPSG:4326"
        types = dict(zip(info["fields"], info["ogr_types"], strict=True))
        assert types["area_ha"] == types["static_head_m"] == "OFTReal"
        assert types["name"] == types["from"] == types["notes"] == "OFTString"
        # GDAL: a JSON array of strings is a string list.
        assert types["serves"] == types["mobs"] == "OFTStringList"
