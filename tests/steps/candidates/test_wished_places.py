"""Places that the user names: fixed, existing, along a spine; and ground that is forbidden."""

from __future__ import annotations

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pytest
import shapely
from shapely.geometry import LineString, Point, box

from dewpond.base.settings import DesignSettings, SitingSettings
from dewpond.steps.candidates import find_candidates
from steps.candidates.candidate_ground import CRS, make_holding

EAST, NORTH = 400_000.0, 300_000.0
FIELDS = [
    box(EAST, NORTH, EAST + 200, NORTH + 200),
    box(EAST + 200, NORTH, EAST + 400, NORTH + 200),
]


def at(x, y):
    return Point(EAST + x, NORTH + y)


def sites(spacing_m=60.0, keep_out=(), slope=None, **features):
    given = {} if slope is None else {"slope_degrees": slope}
    holding, terrain = make_holding(FIELDS, keep_out=keep_out, **given)
    tables = {
        kind: gpd.GeoDataFrame({"name": [""] * len(shapes)}, geometry=list(shapes), crs=CRS)
        if not isinstance(shapes, gpd.GeoDataFrame)
        else shapes
        for kind, shapes in features.items()
    }
    holding = replace(holding, features=replace(holding.features, **tables))
    return find_candidates(
        holding, terrain, SitingSettings(), DesignSettings(), 3.0, spine_spacing_m=spacing_m
    )


def test_a_fixed_place_stands_whatever_the_rules_say_and_serves_what_it_touches():
    def steep(x, y):
        return np.full(np.broadcast(x, y).shape, 30.0)

    found = sites(slope=steep, fixed_outlets=[at(70, 90), at(200, 50)])
    assert found.sites["kind"].tolist() == ["fixed", "fixed"]
    pairs = found.access[["site", "paddock"]].to_numpy().tolist()
    assert pairs == [[0, 0], [1, 0], [1, 1]]


def test_a_fixed_place_on_a_junction_takes_the_place_of_the_one_there():
    plain = sites()
    found = sites(fixed_outlets=[at(200, 0)])
    assert len(found.sites) == len(plain.sites)
    assert found.sites.geometry[found.sites["kind"] == "fixed"].tolist() == [at(200, 0)]


def test_a_fixed_place_off_the_holding_is_told_and_left_out():
    found = sites(fixed_outlets=[at(1300, 50)])
    assert "fixed" not in set(found.sites["kind"])
    assert found.warnings == (
        f"The fixed outlet at E {EAST + 1300:.0f} N {NORTH + 50:.0f} stands beside no grazed "
        "paddock, so it can serve none and is left out",
    )


def test_existing_outlets_are_places_unless_worn_out():
    table = gpd.GeoDataFrame(
        {"name": ["a", "b"], "condition": ["good", "poor"]},
        geometry=[at(33, 44), at(55, 66)], crs=CRS,
    )  # fmt: skip
    found = sites(existing_outlets=table)
    assert found.sites.geometry[found.sites["kind"] == "existing"].tolist() == [at(33, 44)]


@pytest.mark.parametrize(("spacing_m", "expected"), [(60.0, [10, 70, 130]), (200.0, [70])])
def test_a_spine_carries_as_many_as_fit_centred(spacing_m, expected):
    way = LineString([(EAST + 30, NORTH + 100), (EAST + 170, NORTH + 100)])
    found = sites(spacing_m, spine=[way])
    on = found.sites.geometry[found.sites["kind"] == "spine"].to_numpy()
    assert shapely.line_locate_point(way, on) == pytest.approx(expected)


def test_no_place_in_forbidden_ground_but_one_on_its_edge():
    ground = box(EAST + 120, NORTH - 10, EAST + 260, NORTH + 100)
    found = sites(forbidden_ground=[ground])
    assert found.refused["forbidden ground"] > 0
    assert not found.sites.geometry.intersects(ground.buffer(-0.2)).any()
    assert (found.by_paddock["forbidden ground"] > 0).all()
