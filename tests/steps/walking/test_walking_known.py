"""Walks with answers known in closed form."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from walking_fields import points, walk, walks_of

from dewpond.steps.walking.measure import LEVEL_METRES_PER_METRE_CLIMBED

L_SHAPE = shapely.Polygon([(0, 0), (200, 0), (200, 100), (100, 100), (100, 200), (0, 200)])


def test_open_level_ground_is_the_straight_line() -> None:
    reach = walk([shapely.box(0, 0, 300, 200)], [(0, 0, 0.0, 0.0)])
    assert walks_of(reach) == pytest.approx(np.hypot(*points(reach).T), abs=0.005)


@pytest.mark.parametrize(("east", "north"), [(0.3, 0.0), (0.0, -0.2), (0.25, 0.15), (1.0, 1.0)])
def test_tilted_plane_in_every_direction(east: float, north: float) -> None:
    reach = walk(
        [shapely.box(0, 0, 300, 300)],
        [(0, 0, 150.0, 150.0)],
        heights=lambda x, y: 100 + east * x + north * y,
    )
    dx, dy = (points(reach) - 150.0).T
    expected = np.sqrt(dx**2 + dy**2 + (east * dx + north * dy) ** 2)
    assert walks_of(reach) == pytest.approx(expected, rel=3e-4, abs=0.01)


def test_round_the_corner_of_an_l_on_a_tilted_plane() -> None:
    reach = walk([L_SHAPE], [(0, 0, 200.0, 50.0)], heights=lambda x, y: 0.2 * x)
    x, y = points(reach).T
    hidden = (y > 100) & (y - 50 > (200 - x) * 0.5)
    straight = np.hypot(np.hypot(x - 200, y - 50), 0.2 * (x - 200))
    first = np.sqrt(100**2 + 50**2 + 20**2)
    bent = first + np.hypot(np.hypot(x - 100, y - 100), 0.2 * (x - 100))
    assert hidden.sum() > 100
    assert walks_of(reach) == pytest.approx(np.where(hidden, bent, straight), rel=2e-4, abs=0.02)


def test_a_parabolic_ridge_is_as_long_as_its_arc() -> None:
    """Arc length of z = x²/(2 k) from 0 to x: (x sqrt(1+(x/k)²) + k asinh(x/k)) / 2."""
    k = 400.0
    strip = shapely.box(0, 0, 200, 4)
    reach = walk([strip], [(0, 0, 0.0, 2.0)], cell_m=2.0, heights=lambda x, y: x**2 / (2 * k))
    x, y = points(reach).T
    far = (x > 100) & (np.abs(y - 2) < 2)
    arc = (x * np.sqrt(1 + (x / k) ** 2) + k * np.arcsinh(x / k)) / 2
    assert walks_of(reach)[far] == pytest.approx(arc[far], rel=5e-4)


@pytest.mark.parametrize("uphill", [True, False])
def test_cattle_climb_takes_the_worse_of_the_two_trips(uphill: bool) -> None:
    """Ribeiro, Brockway & Webster 1977: 26 J/kg a metre climbed over 2 J/kg a metre level."""
    assert LEVEL_METRES_PER_METRE_CLIMBED == 26 / 2
    site = (0.0, 50.0) if uphill else (200.0, 50.0)
    reach = walk(
        [shapely.box(0, 0, 200, 100)],
        [(0, 0, *site)],
        heights=lambda x, y: 0.1 * x,
        slope_effort="cattle climb",
    )
    x, y = points(reach).T
    climb = 0.1 * np.abs(x - site[0])
    expected = np.sqrt((x - site[0]) ** 2 + (y - 50) ** 2 + climb**2) + 13 * climb
    assert walks_of(reach) == pytest.approx(expected, rel=1e-3, abs=0.05)


def test_slope_effort_goes_round_a_steep_hill() -> None:
    def hill(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return 40 * np.exp(-((x - 150) ** 2 + (y - 150) ** 2) / (2 * 30**2))

    reach = walk(
        [shapely.box(0, 0, 300, 300)],
        [(0, 0, 0.0, 150.0)],
        heights=hill,
        slope_effort="cattle climb",
    )
    behind = np.argmin(np.hypot(*(points(reach) - [290.0, 150.0]).T))
    over_the_top = 290 + 13 * 40
    round_the_foot = 2 * np.hypot(145, 100)
    assert round_the_foot * 0.95 < walks_of(reach)[behind] < 0.8 * over_the_top


def test_a_comb_with_necks_narrower_than_a_cell() -> None:
    """Fences reach across by turns and leave gaps 0.5 m wide; cells are 5 m."""
    gap = 0.5
    comb = shapely.box(0, 0, 100, 60)
    for number in range(9):
        x = 10.0 + 10 * number
        low, high = (gap, 60) if number % 2 else (0, 60 - gap)
        comb = comb.difference(shapely.box(x - 0.1, low, x + 0.1, high))
    reach = walk([comb], [(0, 0, 0.0, 0.0)])
    found = walks_of(reach)
    assert np.isfinite(found).all()
    last = points(reach)[:, 0] > 90.1
    assert found[last].min() > 8 * 58
    assert reach.cells["area_m2"].sum() == pytest.approx(comb.area, rel=1e-6)


def test_a_lane_narrower_than_a_cell_is_walked_to_its_end() -> None:
    lane = shapely.LineString([(0, 0), (103, 41), (151, -77)]).buffer(0.4, cap_style="flat")
    reach = walk([lane], [(0, 0, 0.0, 0.0)])
    end = np.argmin(np.hypot(*(points(reach) - [151.0, -77.0]).T))
    whole = np.hypot(103, 41) + np.hypot(48, 118)
    assert walks_of(reach)[end] == pytest.approx(whole, rel=0.015, abs=5)
    assert reach.cells["area_m2"].sum() == pytest.approx(lane.area, rel=1e-6)


def test_fences_that_touch_leave_no_way_between_them() -> None:
    """A wood whose corner touches the fence must be walked round on its other side."""
    field = shapely.box(0, 0, 100, 100)
    wood = shapely.Polygon([(50, 0), (60, 80), (40, 80)])
    reach = walk([field.difference(wood)], [(0, 0, 0.0, 0.0)])
    beyond = np.argmin(np.hypot(*(points(reach) - [97.5, 2.5]).T))
    expected = np.hypot(40, 80) + 20 + np.hypot(97.5 - 60, 2.5 - 80)
    assert walks_of(reach)[beyond] == pytest.approx(expected, abs=0.05)


def test_parts_of_a_paddock_without_a_way_between_them_stay_apart() -> None:
    parts = shapely.MultiPolygon([shapely.box(0, 0, 50, 50), shapely.box(50, 50, 100, 100)])
    found = walk([parts], [(0, 0, 0.0, 0.0)])
    north = points(found)[:, 1] > 50
    assert np.isinf(walks_of(found)[north]).all()
    assert np.isfinite(walks_of(found)[~north]).all()


def test_one_site_serves_two_paddocks_but_not_through_the_fence() -> None:
    west, east = shapely.box(0, 0, 100, 100), shapely.box(100, 0, 200, 100)
    reach = walk(
        [west, east],
        [(0, 0, 100.0, 0.0), (0, 1, 100.0, 0.0), (1, 0, 0.0, 100.0)],
        hose_m=20,
        trough="mobile",
        limit_m=60,
    )
    assert reach.hose_m == 20
    assert reach.limit_m == 60
    both = walks_of(reach, 0)
    straight = np.hypot(*(points(reach) - [100.0, 0.0]).T)
    within = straight <= 80
    assert both[within] == pytest.approx(straight[within], abs=0.01)
    assert np.isinf(both[~within]).all()
    only_west = np.isfinite(walks_of(reach, 1))
    assert set(reach.cells["paddock"][only_west]) == {0}


def test_a_fixed_trough_has_no_hose() -> None:
    reach = walk([shapely.box(0, 0, 50, 50)], [(0, 0, 0.0, 0.0)], hose_m=20, trough="fixed")
    assert reach.hose_m == 0


def test_threads_do_not_change_the_answer() -> None:
    access = [(number, 0, 20.0 * number, 0.0) for number in range(10)]
    one = walk([L_SHAPE], access, workers=1)
    two = walk([L_SHAPE], access, workers=2)
    assert (one.walk_m != two.walk_m).nnz == 0


@pytest.mark.parametrize("steepness", [0.3, 0.6, 1.0])
def test_ways_round_a_cone_are_straight_on_its_unrolled_side(steepness: float) -> None:
    """Rolled out flat, a cone of slope s has R = r sqrt(1+s²) and angles divided by sqrt(1+s²).

    The grid of heights blunts the top of the cone, so ways over it may come out a little short.
    """
    reach = walk(
        [shapely.box(-200, -200, 200, 200)],
        [(0, 0, -100.0, 0.0)],
        heights=lambda x, y: -steepness * np.hypot(x, y),
    )
    x, y = points(reach).T
    near = (np.hypot(x, y) < 100) & (np.hypot(x + 100, y) > 25)
    stretch = np.sqrt(1 + steepness**2)
    radius, angle = np.hypot(x, y) * stretch, np.arctan2(y, -x) / stretch
    start = 100 * stretch
    exact = np.sqrt(radius**2 + start**2 - 2 * radius * start * np.cos(angle))[near]
    error = walks_of(reach)[near] / exact - 1
    print(f"cone of slope {steepness}: {100 * error.min():.2f} to {100 * error.max():.2f} %")
    assert error.max() < 0.015
    assert error.min() > -0.01
