"""Straight ways over the ground: closed forms, a plain loop, and a library's own profiles."""

from __future__ import annotations

import matplotlib.cbook
import numpy as np
import pyproj
import pytest
from affine import Affine
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import RegularGridInterpolator
from skimage.measure import profile_line

from dewpond.base.summits import margin_asked_m
from dewpond.base.surface import Grid
from dewpond.steps.command.ways import Grade, Ways, follow_ways
from dewpond.steps.command.window import centres_of

CRS = pyproj.CRS.from_epsg(27700)
BARE = Grade(0.0, 0.0, 1.0, 0.0, 0.0)


def grid(heights: np.ndarray, cell_m: float = 10.0) -> Grid:
    return Grid(
        heights.astype(float), Affine(cell_m, 0, 0, 0, -cell_m, len(heights) * cell_m), CRS
    )


def from_one(
    ground: Grid, at: tuple[float, float], level: float, grade: Grade, still: float | None = None
) -> Ways:
    end = centres_of(ground)
    count = len(end)
    return follow_ways(
        ground, np.broadcast_to(np.array(at), (count, 2)), end, np.full(count, level),
        np.full(count, level if still is None else still), grade,
    )  # fmt: skip


def rough(rows: int = 20, columns: int = 26, random_state: int = 1) -> np.ndarray:
    random = np.random.default_rng(random_state)
    y, x = np.mgrid[0:rows, 0:columns]
    return 100 + 0.4 * x + 6 * np.sin(x / 5) * np.cos(y / 4) + random.normal(0, 0.5, x.shape)


def plain_loop(
    ground: Grid, at: tuple[float, float], level: float, still: float, grade: Grade
) -> np.ndarray:
    """Every way by itself, point by point, heights by scipy's own interpolation."""
    rows, columns = ground.values.shape
    cell = ground.transform.a
    centre_x = (np.arange(columns) + 0.5) * cell
    centre_y = ((rows - np.arange(rows)) - 0.5) * cell
    height = RegularGridInterpolator((centre_y[::-1], centre_x), ground.values[::-1])
    found = []
    for y in centre_y:
        for x in centre_x:
            count = max(1, int(np.ceil(np.hypot(x - at[0], y - at[1]) / cell - 1e-9)))
            length, spare = 0.0, np.inf
            before = float(height((at[1], at[0])))
            lowest = before
            for step in range(1, count + 1):
                share = step / count
                here = (at[1] + share * (y - at[1]), at[0] + share * (x - at[0]))
                now = float(height(here))
                flat = np.hypot(x - at[0], y - at[1]) / count
                length += np.hypot(flat, now - before)
                before, lowest = now, min(lowest, now)
                way = length * grade.length_factor
                over = level - grade.loss_per_m * way - now
                if step < count:
                    over -= float(margin_asked_m(way, now, still, grade.margin_m))
                    spare = min(spare, over)
            residual = over - grade.fittings_loss_m
            found.append((length, residual, min(spare, residual - grade.head_m), still - lowest))
    return np.array(found).T


@pytest.mark.parametrize("at", [(55.0, 105.0), (241.3, 12.7), (200.0, 150.0)])
def test_equals_a_plain_loop(at: tuple[float, float]) -> None:
    ground, grade = grid(rough()), Grade(0.012, 0.3, 1.4, 2.5, 1.0)
    found = from_one(ground, at, 118.0, grade, still=121.0)
    expected = plain_loop(ground, at, 118.0, 121.0, grade)
    for mine, theirs in zip(
        (found.length_m, found.residual_head_m, found.spare_m, found.highest_static_head_m),
        expected, strict=True,
    ):  # fmt: skip
        np.testing.assert_allclose(mine, theirs, atol=1e-9)


def test_equals_a_plain_loop_on_a_real_mountain_front() -> None:
    """The real grid that matplotlib ships, the Jacksboro fault, thinned for the loop."""
    with matplotlib.cbook.get_sample_data("jacksboro_fault_dem.npz") as data:
        heights = data["elevation"].astype(float)[100:130, 150:190]
    ground, grade = grid(heights, 90.0), Grade(0.01, 0.2, 1.5, 3.0, 1.0)
    at = (1150.0, 1500.0)
    level = float(heights.max()) - 110.0
    found = from_one(ground, at, level, grade)
    expected = plain_loop(ground, at, level, level, grade)
    np.testing.assert_allclose(found.spare_m, expected[2], atol=1e-8)
    served = found.spare_m >= 0
    assert 0.1 < served.mean() < 0.9


class TestPlane:
    """On a plane every figure is known in closed form."""

    rise_east, rise_north = 0.05, -0.02
    at, level = (155.0, 205.0), 140.0
    grade = Grade(0.02, 0.4, 1.25, 3.0, 0.5)

    def ground(self) -> Grid:
        flat = grid(np.zeros((40, 50)))
        east, north = centres_of(flat).T
        heights = 120 + self.rise_east * east + self.rise_north * north
        return Grid(heights.reshape(40, 50), flat.transform, CRS)

    def test_length_and_residual_head(self) -> None:
        ground = self.ground()
        found = from_one(ground, self.at, self.level, self.grade)
        east, north = centres_of(ground).T
        height = 120 + self.rise_east * east + self.rise_north * north
        at = 120 + self.rise_east * self.at[0] + self.rise_north * self.at[1]
        length = np.sqrt((east - self.at[0]) ** 2 + (north - self.at[1]) ** 2 + (height - at) ** 2)
        np.testing.assert_allclose(found.length_m, length, atol=1e-8)
        residual = self.level - 0.02 * 1.25 * length - 0.4 - height
        np.testing.assert_allclose(found.residual_head_m, residual, atol=1e-8)
        # Where ground rises against the grade line the end decides; where it falls, the start.
        rising = height >= at
        np.testing.assert_allclose(found.spare_m[rising], (residual - 3.0)[rising], atol=1e-8)
        assert (found.spare_m <= residual - 3.0 + 1e-8).all()

    def test_served_ground_ends_where_level_less_friction_meets_the_ground_and_its_head(
        self,
    ) -> None:
        """Due east of the source: L - J k s √(1 + a²) - K = z0 + a s + h, solved for s by hand."""
        ground = self.ground()
        found = from_one(ground, self.at, self.level, self.grade)
        row = int((400 - self.at[1]) / 10)
        served = found.spare_m.reshape(40, 50)[row] >= 0
        z0 = 120 + self.rise_east * self.at[0] + self.rise_north * self.at[1]
        s = (self.level - 0.4 - 3.0 - z0) / (
            self.rise_east + 0.02 * 1.25 * np.sqrt(1 + self.rise_east**2)
        )
        last = self.at[0] + s
        centres = (np.arange(50) + 0.5) * 10
        east = centres > self.at[0]
        np.testing.assert_array_equal(served[east], centres[east] <= last)
        assert 5 < served[east].sum() < east.sum()


def test_a_valley_behind_a_ridge_is_not_served() -> None:
    """A cone behind a wall of a ridge: low ground beyond it has head enough, yet no water."""
    y, x = np.mgrid[0:41, 0:81]
    heights = np.full(x.shape, 100.0)
    heights += np.maximum(0.0, 14.0 - np.abs(x - 40) * 2.0)  # ridge along x = 40, crest at 114
    heights += np.maximum(0.0, 20.0 - 3.0 * np.hypot(x - 65, y - 20))  # cone beyond it
    ground = grid(heights)
    found = from_one(ground, (105.0, 205.0), 112.0, Grade(0.0, 0.0, 1.0, 2.0, 1.0))
    residual = found.residual_head_m.reshape(41, 81)
    spare = found.spare_m.reshape(41, 81)
    assert residual[20, 50] == pytest.approx(12.0)
    assert spare[20, 50] == pytest.approx(112.0 - 114.0 - 1.0)
    assert (spare[:, 45:] < 0).all()
    assert (spare[:, 5:33] >= 0).all()
    # With the crest cleared the valley is served and the cone's own top is not.
    higher = from_one(ground, (105.0, 205.0), 115.5, Grade(0.0, 0.0, 1.0, 2.0, 1.0))
    spare = higher.spare_m.reshape(41, 81)
    assert spare[20, 50] >= 0
    assert spare[20, 65] < 0


def test_still_water_without_margin_is_a_line_of_sight() -> None:
    """No loss, no margin: served where no ground between stands over the level.

    Reference: profiles of scikit-image, highest point of each, on ground other than a plane.
    """
    heights = rough(35, 45, random_state=3)
    ground = grid(heights)
    row, column, level = 17, 9, 108.0
    found = from_one(ground, (column * 10 + 5.0, (35 - row) * 10 - 5.0), level, BARE)
    served = found.spare_m.reshape(heights.shape) >= 0
    highest = np.array([
        [
            profile_line(
                heights, (row, column), (i, j), order=1, mode="nearest", reduce_func=None
            ).max()
            for j in range(45)
        ]
        for i in range(35)
    ])  # fmt: skip
    clear = np.abs(highest - level) > 0.3  # its samples lie elsewhere on the line
    own = np.hypot(*np.mgrid[-row : 35 - row, -column : 45 - column]) > 2.5  # exempt at the source
    np.testing.assert_array_equal(served[clear & own], (highest <= level)[clear & own])
    assert (clear & own).mean() > 0.8
    assert 0.1 < served.mean() < 0.9


def test_ground_that_nobody_knows_is_not_judged() -> None:
    heights = rough()
    heights[8:12, 12] = np.nan
    ground = grid(heights)
    found = from_one(ground, (55.0, 100.0), 130.0, BARE)
    spare = found.spare_m.reshape(heights.shape)
    assert np.isnan(spare[10, 20])
    assert np.isnan(spare[10, 12])
    assert np.isfinite(spare[10, 10])
    assert np.isfinite(spare[18, 20])


class TestLaws:
    @given(
        st.floats(102, 135), st.floats(0, 0.05), st.floats(0, 8), st.floats(1, 3),
        st.floats(0, 3),
    )  # fmt: skip
    def test_more_asked_never_serves_more(
        self, level: float, loss: float, head: float, factor: float, margin: float
    ) -> None:
        ground, at = grid(rough()), (205.0, 155.0)
        less = from_one(ground, at, level, Grade(loss, 0.1, factor, head, margin)).spare_m
        for more in (
            Grade(loss + 0.01, 0.1, factor, head, margin),
            Grade(loss, 0.1, factor, head + 1, margin),
            Grade(loss, 0.1, factor + 0.2, head, margin),
            Grade(loss, 0.2, factor, head, margin),
        ):
            assert (from_one(ground, at, level, more).spare_m <= less + 1e-9).all()
        raised = from_one(ground, at, level + 1, Grade(loss, 0.1, factor, head, margin)).spare_m
        # A raised tank exempts a little more of the ground beside it, never less.
        assert (raised >= less - 1e-9).all()

    def test_order_of_the_ways_does_not_matter(self) -> None:
        ground = grid(rough())
        end = centres_of(ground)
        start = np.broadcast_to([155.0, 120.0], end.shape)
        level = np.full(len(end), 115.0)
        turned = np.random.default_rng(0).permutation(len(end))
        one = follow_ways(ground, start, end, level, level, Grade(0.01, 0, 1.5, 2, 1))
        two = follow_ways(
            ground, start, end[turned], level, level, Grade(0.01, 0, 1.5, 2, 1)
        )  # fmt: skip
        np.testing.assert_array_equal(one.spare_m[turned], two.spare_m)
