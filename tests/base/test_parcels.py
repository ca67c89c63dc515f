"""Parcels and paddocks under works, on squares drawn by hand."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
from shapely.geometry import LineString, Point, box

from dewpond.base.parcels import length_only_on_m, parcels_under, runs_on_m

# Two fields of 100 m side by side with 2 m between their outlines, a third on top of the first.
FIELDS = gpd.GeoDataFrame(
    {"name": ["west", "east", "north"], "parcel": ["NY1", "NY2", ""]},
    geometry=[box(0, 0, 100, 100), box(102, 0, 202, 100), box(0, 101, 100, 201)],
    crs="EPSG:27700",
)


def test_a_point_on_a_shared_fence_lies_on_both_sides() -> None:
    places = [Point(101, 50), Point(50, 50), Point(300, 300), Point(150, 50)]
    assert parcels_under(FIELDS, places, 3.0) == [("NY1", "NY2"), ("NY1",), (), ("NY2",)]


def test_a_line_counts_where_it_runs_not_where_it_touches() -> None:
    along, over = LineString([(50, 2), (50, 90)]), LineString([(50, 50), (150, 50)])
    to_the_corner = LineString([(100, 40), (101, 99)])
    runs = runs_on_m(FIELDS, [along, over, to_the_corner], 3.0)
    assert list(runs[0]) == [0]
    assert list(runs[1]) == [0, 1]
    assert runs[1][0] == pytest.approx(53.0)
    assert list(runs[2]) == [0, 1]  # touches the north field over 1 m only


def test_without_parcels_there_are_none() -> None:
    bare = FIELDS.drop(columns="parcel")
    assert parcels_under(bare, [Point(50, 50)], 3.0) == [()]


def test_pipe_on_a_shared_fence_lies_elsewhere_too() -> None:
    fence, inside = LineString([(101, 0), (101, 100)]), LineString([(110, 50), (190, 50)])
    metres = length_only_on_m(FIELDS, np.array([1]), [fence, inside], 3.0)
    assert metres == pytest.approx([0.0, 80.0])
