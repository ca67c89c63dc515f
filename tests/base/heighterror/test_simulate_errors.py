"""Simulated errors against the covariance they are drawn from, within what chance allows."""

from __future__ import annotations

import numpy as np
import pytest

from dewpond.base.heighterror import (
    ErrorPoints,
    HeightError,
    KnownLevels,
    conditioned,
    covariance_m2,
    published_error,
    simulate_errors,
)
from dewpond.base.heighterror.sequential import draw_sequentially
from dewpond.base.heighterror.simulate import EXACT_POINTS

RADAR = published_error("radar surface 30 m")
DRAWS = 4_000


def scatter(count: int, random_state: int = 3, side_m: float = 1_500.0) -> ErrorPoints:
    random = np.random.default_rng(random_state)
    slope = random.uniform(0, 0.3, count)
    return ErrorPoints(random.uniform(0, side_m, count), random.uniform(0, side_m, count), slope)


def model_m2(error: HeightError, points: ErrorPoints) -> np.ndarray:
    place = points.easting_m, points.northing_m
    return covariance_m2(error, *place, *place, points.slope, points.slope)


def standard_errors(drawn: np.ndarray, expected_m2: np.ndarray) -> np.ndarray:
    """How many standard errors each sample covariance is out, the mean being known as zero.

    Wishart: a sample covariance c_ij of N draws has variance (c_ii c_jj + c_ij²) / N.
    """
    sample = drawn.T @ drawn / len(drawn)
    own = np.diag(expected_m2)
    error = np.sqrt((np.outer(own, own) + expected_m2**2) / len(drawn))
    return np.abs(sample - expected_m2) / error


def test_variance_and_correlation_are_those_of_the_model() -> None:
    points = scatter(25)
    drawn = simulate_errors(RADAR, points, DRAWS, random_state=11)
    out = standard_errors(drawn, model_m2(RADAR, points))
    assert drawn.shape == (DRAWS, 25)
    # 325 figures that hang together: 4.5 standard errors is beyond one in a hundred thousand.
    assert out.max() < 4.5
    # The long part lifts or sinks all together; averaged over draws even that is near zero.
    assert abs(drawn.mean()) < 4.5 * RADAR.standard_deviation_m / np.sqrt(DRAWS)


def test_many_points_have_the_covariance_too() -> None:
    # More than are factorised whole; 40 of them looked at.
    points = scatter(EXACT_POINTS + 800)
    drawn = simulate_errors(RADAR, points, DRAWS, random_state=5)[:, ::45]
    some = ErrorPoints(*(values[::45] for values in (points.easting_m, points.northing_m)))
    some = ErrorPoints(some.easting_m, some.northing_m, points.slope[::45])
    out = standard_errors(drawn, model_m2(RADAR, some))
    assert out.max() < 5.0


@pytest.mark.parametrize("layout", ["scatter", "pipes"])
@pytest.mark.parametrize("name", ["radar surface 30 m", "lidar 1 m", "national terrain 5 m"])
def test_neighbours_lose_little(layout: str, name: str) -> None:
    """What the neighbours leave out, exactly: the covariance they imply against the field's."""
    error = published_error(name)
    if layout == "scatter":
        points = scatter(900)
    else:  # three pipes that meet, a point each 5 m
        along = np.arange(0.0, 1_500.0, 5.0)
        points = ErrorPoints(
            np.concatenate([along, along, np.zeros(300)]),
            np.concatenate([np.zeros(300), along, along]) + np.repeat([0.0, 1.0, 2.0], 300),
            np.tile(np.where(along % 400 < 150, 0.3, 0.1), 3),
        )

    class Unit:
        """Noise of one in its own column for each place and part: what is drawn is the factor."""

        drawn = 0

        def standard_normal(self, shape: tuple[int, int]) -> np.ndarray:
            self.drawn += 1
            return np.eye(*shape, k=(self.drawn - 1) * shape[0])

    factor = draw_sequentially(error, points, 2 * len(points), Unit())  # type: ignore[arg-type]
    implied = factor.T @ factor
    exact = model_m2(error, points)
    variance = error.standard_deviation_m**2
    worst = np.abs(implied - exact).max() / variance
    print(f"{layout}, {name}: at most {100 * worst:.2f} % of the variance out")
    assert worst < 0.02
    # A head from the first point: the figure the plan rests on.
    head = [matrix[0, 0] + np.diag(matrix) - 2 * matrix[0] for matrix in (implied, exact)]
    ratio = np.sqrt(head[0][1:] / head[1][1:])
    print(
        f"    deviation of a head {100 * (ratio.min() - 1):.2f} to {100 * (ratio.max() - 1):.2f} %"
    )
    assert np.abs(ratio - 1).max() < 0.01


def test_same_state_same_draws() -> None:
    points = scatter(60)
    one, two, other = (simulate_errors(RADAR, points, 50, state) for state in (4, 4, 5))
    assert np.array_equal(one, two)
    assert not np.array_equal(one, other)


@pytest.mark.parametrize("count", [40, EXACT_POINTS + 200])
def test_one_place_has_one_error(count: int) -> None:
    base = scatter(count)
    twice = ErrorPoints(*(np.tile(v, 2) for v in (base.easting_m, base.northing_m, base.slope)))
    drawn = simulate_errors(RADAR, twice, 20, random_state=1)
    assert np.array_equal(drawn[:, :count], drawn[:, count:])


def test_points_a_hair_apart_do_not_break_the_factor() -> None:
    along = np.concatenate([np.arange(0, 100.0), np.arange(0, 100.0) + 0.002])
    drawn = simulate_errors(
        HeightError(1.0, 5e6, 1e7, 0.5), ErrorPoints(along, np.zeros(200)), 200, random_state=2
    )
    assert np.isfinite(drawn).all()
    assert drawn.std(axis=1).max() < 0.1


@pytest.mark.parametrize("count", [80, EXACT_POINTS + 200])
def test_every_draw_honours_an_exact_level(count: int) -> None:
    points = scatter(count)
    levels = KnownLevels(
        points.easting_m[:3], points.northing_m[:3], np.array([1.0, -2.0, 0.5]), np.zeros(3),
        points.slope[:3],
    )  # fmt: skip
    drawn = simulate_errors(RADAR, points, 30, random_state=8, known=levels)
    assert drawn[:, :3] == pytest.approx(np.tile([1.0, -2.0, 0.5], (30, 1)), abs=1e-6)


def test_draws_held_to_levels_have_the_kriged_mean_and_covariance() -> None:
    points = scatter(20)
    levels = KnownLevels(
        np.array([200.0, 700.0, 1_200.0]), np.array([300.0, 900.0, 400.0]),
        np.array([2.5, -1.0, 3.0]), np.array([0.0, 0.3, 0.05]),
    )  # fmt: skip
    mean, left = conditioned(RADAR, points, levels)
    drawn = simulate_errors(RADAR, points, DRAWS, random_state=21, known=levels)
    off = np.abs(drawn.mean(axis=0) - mean) / np.sqrt(np.diag(left) / DRAWS)
    assert off.max() < 4.5
    assert standard_errors(drawn - mean, left).max() < 4.5
