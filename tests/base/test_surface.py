"""Heights by bilinear interpolation, against scipy and closed forms."""

from __future__ import annotations

import numpy as np
import pyproj
import pytest
from affine import Affine
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st
from scipy.interpolate import RegularGridInterpolator

from dewpond.base import surface as surface_module
from dewpond.base.surface import Grid, Surface, carry_by, cut_from, interpolate

CRS = pyproj.CRS.from_epsg(32630)
NORTH_UP = Affine(10, 0, 500_000, 0, -10, 6_000_000)


def _grid(values, transform=NORTH_UP) -> Grid:
    return Grid(np.asarray(values, dtype=float), transform, CRS)


def _rough(rows: int = 12, columns: int = 9) -> Grid:
    return _grid(np.random.default_rng(0).normal(100, 10, (rows, columns)))


def test_value_at_cell_centres_is_the_cell():
    grid = _rough()
    row, column = np.indices(grid.values.shape)
    x, y = carry_by(grid.transform, column + 0.5, row + 0.5)
    np.testing.assert_allclose(interpolate(grid, x, y), grid.values, rtol=1e-12)


def test_between_centres_as_scipy():
    grid = _rough()
    row, column = np.random.default_rng(1).uniform(0.5, [11.5, 8.5], (500, 2)).T
    reference = RegularGridInterpolator((np.arange(12) + 0.5, np.arange(9) + 0.5), grid.values)
    x, y = carry_by(grid.transform, column, row)
    np.testing.assert_allclose(
        interpolate(grid, x, y), reference(np.column_stack([row, column])), rtol=1e-10
    )


@given(
    angle=st.floats(0, 2 * np.pi),
    east=st.floats(-0.3, 0.3),
    north=st.floats(-0.3, 0.3),
    flip=st.booleans(),
)
@hypothesis_settings(deadline=None, derandomize=True, max_examples=30)
def test_plane_comes_back_exactly_however_the_raster_lies(angle, east, north, flip):
    c, s, sign = np.cos(angle), np.sin(angle), -1 if flip else 1
    transform = Affine(10 * c, -10 * s * sign, 0, 10 * s, 10 * c * sign, 0)
    row, column = np.indices((20, 20))
    x, y = carry_by(transform, column + 0.5, row + 0.5)
    grid = Grid(100 + east * x + north * y, transform, CRS)
    row, column = np.random.default_rng(2).uniform(0.5, 19.5, (2, 100))
    x, y = carry_by(transform, column, row)
    np.testing.assert_allclose(interpolate(grid, x, y), 100 + east * x + north * y, atol=1e-9)


def test_edge_cells_carry_on_for_half_a_cell_and_no_further():
    grid = _grid([[1.0, 2.0], [3.0, 4.0]])
    x = np.array([500_000.1, 499_999.9, 500_019.9, 500_020.1])
    y = np.full(4, 5_999_999.9)
    np.testing.assert_allclose(interpolate(grid, x, y), [1.0, np.nan, 2.0, np.nan])


def test_unknown_cell_is_unknown_and_spoils_no_neighbour():
    grid = _grid([[1.0, np.nan], [1.0, 1.0]])
    x = np.array([500_009.9, 500_010.1, 500_015.0, 500_015.0])
    y = np.array([5_999_995.0, 5_999_995.0, 5_999_995.0, 5_999_985.0])
    np.testing.assert_allclose(interpolate(grid, x, y), [1.0, np.nan, np.nan, 1.0])


def test_single_cell_raster():
    assert interpolate(_grid([[7.0]]), np.array([500_003.0]), np.array([5_999_996.0])) == [7.0]


def test_first_layer_that_knows_wins():
    upper = _grid(np.where(np.arange(9) < 4, 1.0, np.nan) * np.ones((12, 1)))
    surface = Surface((upper, _grid(np.full((12, 9), 2.0))), CRS, 10.0)
    heights = surface.heights_m([500_020.0, 500_060.0, 500_500.0], 5_999_950.0)
    np.testing.assert_allclose(heights, [1.0, 2.0, np.nan])


def test_shapes_broadcast_and_scalars_pass():
    surface = Surface((_rough(),), CRS, 10.0)
    assert surface.heights_m(500_020.0, 5_999_950.0).shape == ()
    wide = surface.heights_m(np.full((1, 4), 500_020.0), np.full((3, 1), 5_999_950.0))
    assert wide.shape == (3, 4)
    assert np.ptp(wide) == 0


def test_blocks_change_nothing(monkeypatch):
    surface = Surface((_rough(),), CRS, 10.0)
    x, y = np.random.default_rng(3).uniform([500_000, 5_999_880], [500_090, 6e6], (101, 2)).T
    whole = surface.heights_m(x, y)
    monkeypatch.setattr(surface_module, "_BLOCK_POINTS", 7)
    np.testing.assert_array_equal(surface.heights_m(x, y), whole)


def test_points_are_carried_to_the_crs_of_the_raster():
    """A raster of its own longitudes gives back the longitude that PROJ gives."""
    step = 0.001
    longitude = -2.3 + step * (np.arange(300) + 0.5)
    values = np.tile(longitude, (200, 1))
    grid = Grid(values, Affine(step, 0, -2.3, 0, -step, 54.0), pyproj.CRS.from_epsg(4326))
    surface = Surface((grid,), CRS, 60.0)
    carry = pyproj.Transformer.from_crs("EPSG:4326", "EPSG:32630", always_xy=True)
    easting, northing = carry.transform(-2.2, 53.9)
    assert surface.heights_m(easting, northing) == pytest.approx(-2.2, abs=1e-9)


def test_part_of_a_raster_lies_where_it_lay():
    part = cut_from(NORTH_UP, 3, 2, wider=2, taller=4)
    assert carry_by(part, np.array([0.0, 1.0]), np.array([0.0, 1.0]))[0].tolist() == [
        500_030,
        500_050,
    ]
    assert carry_by(part, np.array([0.0, 1.0]), np.array([0.0, 1.0]))[1].tolist() == [
        5_999_980,
        5_999_940,
    ]
