"""The cells that stand for grazed ground."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from random_paddocks import random_paddock
from walking_fields import points, walk

SITE = [(0, 0, 300.0, 300.0)]


@pytest.mark.parametrize("number", range(5))
def test_areas_sum_to_the_paddock_and_points_lie_in_it(number: int) -> None:
    paddock = random_paddock(number)
    reach = walk([paddock], SITE)
    assert reach.cells["area_m2"].sum() == pytest.approx(paddock.area, rel=1e-6)
    assert shapely.contains_xy(paddock.buffer(1e-9), *points(reach).T).all()


def test_cells_inside_are_centred_on_the_grid() -> None:
    reach = walk([shapely.box(0, 0, 50, 30)], SITE)
    assert len(reach.cells) == 60
    assert np.allclose(np.mod(points(reach), 5.0), 2.5)
    assert (reach.cells["area_m2"] == 25.0).all()


@pytest.mark.parametrize(
    "paddock",
    [
        shapely.box(0.1, 0.1, 0.9, 0.6),
        shapely.box(4.9, 4.9, 5.1, 5.1),
        shapely.box(0, 0, 200, 0.01),
        shapely.box(0, 0, 200, 0.0005),
    ],
    ids=["speck", "across four cells", "sliver", "thinner than the fence"],
)
def test_ground_without_any_cell_centre_is_still_there(paddock: shapely.Polygon) -> None:
    reach = walk([paddock], [(0, 0, paddock.bounds[0], paddock.bounds[1])])
    assert len(reach.cells) >= 1
    assert reach.cells["area_m2"].sum() == pytest.approx(paddock.area, rel=1e-6)
    assert reach.walk_m.nnz == len(reach.cells)


def test_paddocks_without_stock_or_sites() -> None:
    reach = walk([shapely.box(0, 0, 50, 50), shapely.box(60, 0, 90, 30)], [(0, 1, 60.0, 0.0)])
    assert set(reach.cells["paddock"]) == {0, 1}
    assert set(reach.cells["paddock"][reach.walk_m.indices]) == {1}


def test_a_sliver_is_counted_in_on_its_own_side_of_the_fence() -> None:
    """A fence 2 cm below the cells' edge; the nearest centre is that of the cell across it."""
    fence = shapely.box(0, 4.96, 15, 4.98)
    reach = walk([shapely.box(0, 0, 20, 10).difference(fence)], SITE)
    area = dict(zip(map(tuple, points(reach)), reach.cells["area_m2"], strict=True))
    assert len(area) == 8
    for east in (2.5, 7.5, 12.5):
        assert area[east, 7.5] == pytest.approx(25 + 5 * 0.02)
        assert area[east, 2.5] == pytest.approx(25 - 5 * 0.04)


def test_a_paddock_of_slivers_in_several_parts_is_one_cell_at_least() -> None:
    parts = shapely.MultiPolygon([shapely.box(0, 0, 0.5, 0.5), shapely.box(9, 0, 9.6, 0.6)])
    reach = walk([parts], SITE)
    assert len(reach.cells) == 1
    assert reach.cells["area_m2"].sum() == pytest.approx(parts.area)
