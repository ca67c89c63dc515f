"""Ground along lines: closed forms on simple surfaces, lengths against the ellipsoid."""

from __future__ import annotations

import numpy as np
import pyproj
import pytest
import shapely
from scipy.integrate import quad

from dewpond.base.profile import ground_lengths_m, ground_profiles
from steps.corridors.pipe_ground import CRS, SOUTH, WEST, flat, line, surface


def test_length_on_a_tilted_plane():
    ground = surface(lambda x, y: 0.25 * x + 0.1 * y)
    lengths = ground_lengths_m([line((0, 0), (300, 400)), line((10, 10), (10, 20))], ground)
    expected = [np.hypot(500, 0.25 * 300 + 0.1 * 400), np.hypot(10, 1)]
    np.testing.assert_allclose(lengths, expected)


def test_length_over_a_sine_ridge_tends_to_the_arc():
    # Arc length of 20 sin(x / 60) over 1000 m by quadrature.
    arc, _ = quad(lambda x: np.hypot(1, 20 / 60 * np.cos(x / 60)), 0, 1000, limit=200)
    ground = surface(lambda x, y: 20 * np.sin(x / 60), posting_m=2.0)
    assert ground_lengths_m([line((0, 100), (1000, 100))], ground)[0] == pytest.approx(
        arc, rel=2e-4
    )


def test_flat_length_is_geodesic_within_a_thousandth():
    way = line((0, 0), (900, 300), (1500, 1400))
    inverse = pyproj.Transformer.from_crs(CRS, 4326, always_xy=True)
    longitude, latitude = inverse.transform(*shapely.get_coordinates(way).T)
    geodesic_m = pyproj.Geod(ellps="WGS84").line_length(longitude, latitude)
    assert ground_lengths_m([way], surface(flat))[0] == pytest.approx(geodesic_m, rel=1e-3)


def test_points_keep_every_vertex_and_stand_a_posting_apart_at_most():
    way = line((0, 0), (23, 0), (23, 7))
    profiles = ground_profiles([way, line((0, 0), (1, 0))], surface(flat))
    points = np.column_stack([profiles.easting_m, profiles.northing_m])[profiles.of(0)]
    assert np.hypot(*np.diff(points, axis=0).T).max() <= 5.0
    for vertex in shapely.get_coordinates(way):
        assert (points == vertex).all(axis=1).any()
    assert profiles.distance_m[profiles.of(1)].tolist() == [0.0, 1.0]


def test_unknown_ground_counts_as_level():
    ground = surface(lambda x, y: np.where(x < 100, x, np.nan))
    way = line((50, 0), (150, 0))
    profiles = ground_profiles([way], ground)
    assert np.isnan(profiles.ground_level_m[-1])
    assert np.isfinite(profiles.distance_m).all()
    assert ground_lengths_m([], ground).size == 0
    assert profiles.easting_m[0] == WEST + 50
    assert profiles.northing_m[0] == SOUTH
