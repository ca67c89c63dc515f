"""The walking grid: its cell, its heights and its slope against closed forms."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pyproj
import pytest
import shapely
from affine import Affine
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from dewpond.base.model import Features, Holding, Mob
from dewpond.base.settings import MobSettings, WalkingSettings
from dewpond.base.surface import Grid, Surface
from dewpond.steps import terrain as terrain_module
from dewpond.steps.terrain import model_terrain

CRS = pyproj.CRS.from_epsg(32630)
EAST, NORTH = 552_013.7, 5_972_004.1
PLANE_SLOPE = np.degrees(np.arctan(np.hypot(0.05, 0.03)))


def _plane_m(easting, northing):
    return 150 + 0.05 * (easting - EAST) - 0.03 * (northing - NORTH)


def _surface(height=_plane_m, posting=10.0, half_m=1500.0) -> Surface:
    size = int(2 * half_m / posting)
    x = EAST - half_m + posting * (np.arange(size) + 0.5)
    y = NORTH + half_m - posting * (np.arange(size) + 0.5)
    values = height(*np.meshgrid(x, y)).astype(float)
    transform = Affine(posting, 0, EAST - half_m, 0, -posting, NORTH + half_m)
    return Surface((Grid(values, transform, CRS),), CRS, posting)


def _holding(sides_m=(200.0, 200.0), surface=None, grazed=None) -> Holding:
    """Square paddocks in a row, one mob in all of them unless told otherwise."""
    left = np.concatenate([[0.0], np.cumsum(sides_m)[:-1]])
    shapes = [
        shapely.box(EAST + x, NORTH, EAST + x + side, NORTH + side)
        for x, side in zip(left, sides_m, strict=True)
    ]
    frame = gpd.GeoDataFrame(
        {
            "name": [f"{i}" for i in range(len(shapes))],
            "area_ha": [shape.area / 1e4 for shape in shapes],
        },
        geometry=shapes,
        crs=CRS,
    )
    none = gpd.GeoDataFrame({"name": []}, geometry=[], crs=CRS)
    mob = MobSettings(name="m", species="cattle", head=1, weight_kg=600.0)
    ids = tuple(range(len(shapes))) if grazed is None else grazed
    return Holding(
        name="Test",
        crs=CRS,
        paddocks=frame,
        features=Features(none, none, none, none, none),
        mobs=(Mob(mob, ids),),
        sources=(),
        surface=surface or _surface(),
    )


def test_plane():
    holding = _holding()
    terrain = model_terrain(holding, WalkingSettings())
    rows, columns = terrain.height_m.values.shape
    step = terrain.height_m.transform
    easting = step.c + step.a * (np.arange(columns) + 0.5)
    northing = step.f + step.e * (np.arange(rows) + 0.5)
    expected = _plane_m(*np.meshgrid(easting, northing))
    np.testing.assert_allclose(terrain.height_m.values, expected, atol=1e-9)
    np.testing.assert_allclose(terrain.slope_degrees.values, PLANE_SLOPE, atol=1e-9)
    assert terrain.slope_degrees.transform == step
    assert terrain.height_m.crs == CRS


@pytest.mark.parametrize("cell_m", [1.0, 2.5, 7.0, 10.0])
def test_grid_covers_paddocks_and_margin_on_whole_multiples(cell_m):
    holding = _holding()
    terrain = model_terrain(holding, WalkingSettings(cell_m=cell_m))
    assert terrain.cell_m == cell_m
    assert terrain.cell_reason == f"Cell of {cell_m:g} m as set in the project file."
    rows, columns = terrain.height_m.values.shape
    step = terrain.height_m.transform
    assert (step.a, step.e) == (cell_m, -cell_m)
    assert (step.c / cell_m).is_integer()
    assert (step.f / cell_m).is_integer()
    west, south, east, north = holding.paddocks.total_bounds
    assert west - 60 - cell_m <= step.c <= west - 60
    assert north + 60 <= step.f <= north + 60 + cell_m
    assert east + 60 <= step.c + columns * cell_m <= east + 60 + cell_m
    assert south - 60 - cell_m <= step.f - rows * cell_m <= south - 60


def test_slope_of_a_bowl_against_its_gradient():
    """h = r²/2R has slope atan(r/R).

    Between raster heights the gradient along an axis changes by posting/R over a posting; the
    differences stray from it by at most a quarter of that, 0.00125 or 0.07 degrees.
    """
    radius_m = 2000.0

    def bowl(easting, northing):
        return ((easting - EAST) ** 2 + (northing - NORTH) ** 2) / (2 * radius_m)

    terrain = model_terrain(_holding(surface=_surface(bowl)), WalkingSettings(cell_m=2.0))
    rows, columns = terrain.slope_degrees.values.shape
    step = terrain.slope_degrees.transform
    easting, northing = np.meshgrid(
        step.c + step.a * (np.arange(columns) + 0.5), step.f + step.e * (np.arange(rows) + 0.5)
    )
    expected = np.degrees(np.arctan(np.hypot(easting - EAST, northing - NORTH) / radius_m))
    np.testing.assert_allclose(terrain.slope_degrees.values, expected, atol=0.07)


def test_slope_does_not_show_the_facets_between_raster_heights():
    """Sawtooth ground of one posting: a slope taken over one cell would see 45 degrees."""
    rng = np.random.default_rng(2)

    def rough(easting, northing):
        return 20 * rng.random(easting.shape)

    surface = _surface(rough, posting=20.0)
    whole = model_terrain(_holding(surface=surface), WalkingSettings(cell_m=2.0))
    heights = whole.height_m.values
    facets = np.hypot(*np.gradient(heights, 2.0))
    assert np.tan(np.radians(whole.slope_degrees.values)).mean() < 0.9 * facets.mean()


def test_unknown_ground_stays_unknown_and_its_edge_keeps_a_slope():
    surface = _surface(half_m=300.0)
    terrain = model_terrain(_holding(surface=surface), WalkingSettings(cell_m=5.0))
    known = np.isfinite(terrain.height_m.values)
    assert 0 < known.mean() < 1
    assert (np.isfinite(terrain.slope_degrees.values) == known).all()
    np.testing.assert_allclose(terrain.slope_degrees.values[known], PLANE_SLOPE, atol=2.0)


@pytest.mark.parametrize(
    ("sides_m", "posting_m", "cell_m"),
    [
        ([210.0] * 18, 5.0, 3.0),  # 80 ha of 4.4 ha fields: 70 cells across
        ([560.0] * 7, 10.0, 8.0),  # 220 ha of large paddocks
        ([210.0] * 18, 50.0, 4.0),  # coarse heights: up to a fiftieth of the paddock, not more
        ([60.0] * 6, 1.0, 1.0),  # pens: never below a metre
        ([1500.0] * 3, 30.0, 10.0),  # range: never above ten
        ([400.0] * 4 + [20.0] * 30, 5.0, 6.0),  # many pens do not set the cell for the fields
        ([700.0] * 20, 5.0, 8.0),  # 980 ha: 700/70 = 10, sqrt(9.8e6/2e5) = 7
    ],
)
def test_cell_follows_paddock_size(sides_m, posting_m, cell_m):
    surface = Surface(_surface().layers, CRS, posting_m)
    terrain = model_terrain(_holding(sides_m, surface), WalkingSettings())
    assert terrain.cell_m == pytest.approx(cell_m, rel=0.26)
    assert terrain.cell_m in (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)
    assert f"Cell of {terrain.cell_m:g} m" in terrain.cell_reason
    assert "elevation posting" in terrain.cell_reason


def test_only_grazed_paddocks_count():
    both = model_terrain(_holding((400.0, 100.0)), WalkingSettings())
    small = model_terrain(_holding((400.0, 100.0), grazed=(1,)), WalkingSettings())
    assert small.cell_m < both.cell_m


def test_cell_is_widened_to_keep_within_memory(monkeypatch):
    monkeypatch.setattr(terrain_module, "_MOST_GRID_CELLS", 10_000)
    terrain = model_terrain(_holding(), WalkingSettings(cell_m=1.0))
    assert terrain.height_m.values.size <= 11_000
    assert terrain.cell_m > 1.0
    assert f"Widened to {terrain.cell_m:g} m: 1 m would make" in terrain.cell_reason


@given(shift=st.tuples(st.integers(-20, 20), st.integers(-20, 20)))
@hypothesis_settings(deadline=None, derandomize=True, max_examples=10)
def test_shift_by_whole_cells_shifts_the_grid(shift):
    """Ground and paddocks moved together by whole cells leave every height and slope alone."""
    cell_m = 4.0
    east, north = shift[0] * cell_m, shift[1] * cell_m
    holding = _holding()
    layer = holding.surface.layers[0]
    moved_grid = Grid(
        layer.values,
        Affine(10, 0, layer.transform.c + east, 0, -10, layer.transform.f + north),
        CRS,
    )
    moved = Holding(
        **{
            **{name: getattr(holding, name) for name in holding.__dataclass_fields__},
            "paddocks": holding.paddocks.set_geometry(holding.paddocks.translate(east, north)),
            "surface": Surface((moved_grid,), CRS, 10.0),
        }
    )
    first = model_terrain(holding, WalkingSettings(cell_m=cell_m))
    second = model_terrain(moved, WalkingSettings(cell_m=cell_m))
    np.testing.assert_allclose(first.height_m.values, second.height_m.values, atol=1e-9)
    np.testing.assert_allclose(first.slope_degrees.values, second.slope_degrees.values, atol=1e-6)
