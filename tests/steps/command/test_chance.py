"""How sure: the closed form at one place, and the approximation on the way against simulation."""

from __future__ import annotations

import numpy as np
import pytest
from command_farm import at, find
from scipy.stats import norm

import farms
from dewpond.base.heighterror import ErrorPoints, HeightError, KnownLevels, simulate_errors
from dewpond.base.surface import Grid
from dewpond.steps.command.chance import deviation_grid, doubt_of
from dewpond.steps.command.ways import Grade, follow_ways
from dewpond.steps.command.window import centres_of

FIELDS = farms.squares(2, 1, 200.0)
ERROR = HeightError(2.0, 120.0, 10_000.0, 0.6)


def slope(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    return 100.0 + 0.03 * (x - farms.WEST) + 0.0 * y


def flat_grid(rows: int = 8, columns: int = 40, cell_m: float = 10.0) -> Grid:
    import pyproj
    from affine import Affine

    heights = np.full((rows, columns), 100.0)
    return Grid(heights, Affine(cell_m, 0, 0, 0, -cell_m, rows * cell_m), pyproj.CRS(27700))


def correlation(distance_m: np.ndarray) -> np.ndarray:
    """The model of the height error, written out again."""
    return 0.4 * np.exp(-3 * distance_m / 120.0) + 0.6 * np.exp(-3 * distance_m / 10_000.0)


def test_deviation_of_a_head_is_the_closed_form() -> None:
    """Level from the same heights: σ √(2 (1 - ρ)); level known by itself: σ."""
    ground = flat_grid()
    start = (105.0, 45.0)
    apart = np.hypot(*(centres_of(ground) - start).T).reshape(ground.values.shape)
    found = deviation_grid(ERROR, ground, start, None, level_known=False)
    np.testing.assert_allclose(found, 2.0 * np.sqrt(2 * (1 - correlation(apart))), atol=1e-9)
    known = deviation_grid(ERROR, ground, start, None, level_known=True)
    np.testing.assert_allclose(known, 2.0, atol=1e-12)


def test_a_level_taken_on_site_settles_its_own_place() -> None:
    ground = flat_grid()
    spot = centres_of(ground)[[75]]
    levels = KnownLevels(spot[:, 0], spot[:, 1], np.array([1.0]), np.array([0.0]))
    found = deviation_grid(ERROR, ground, (105.0, 45.0), levels, level_known=True).ravel()
    assert found[75] == pytest.approx(0.0, abs=1e-6)
    assert found[75] < found[76] < found[90] < 2.0


def test_chance_at_the_end_is_the_normal_one() -> None:
    """8 m are wanted at the end and 1 m on the way: only the end is in doubt.

    The level of the tank is known by itself, so the error is that of the end alone.
    """
    area = find(
        FIELDS, slope, {"head_m": 8.0}, source=[at(0, 100, level_m=116.0)],
        terrain={"height_standard_deviation_m": 1.5, "correlation_length_m": 60.0},
    )  # fmt: skip
    ground = area.ground
    spare = ground.residual_head_m.values - ground.case.head_m
    # A level given at the source holds the heights beside it too.
    far = (ground.pipe_length_m.values > 150) & (spare < 5) & (spare > -5)
    np.testing.assert_allclose(ground.chance.values[far], norm.cdf(spare[far] / 1.5), atol=0.01)
    assert (ground.chance.values[far] > 0.9).any()
    assert (ground.chance.values[far] < 0.1).any()


GROUNDS = {
    "a rise on the way": lambda x: (
        100 + 6 * np.exp(-((x - 180) ** 2) / 1_500) + np.maximum(0, x - 240) * 0.05
    ),
    "a steady rise": lambda x: 100 + 0.02 * x,
    "level ground": lambda x: 100 + 0 * x,
}
ERRORS = {
    "long ranges": ERROR,
    "short ranges": HeightError(4.0, 200.0, 10_000.0, 0.05),
    "fine heights": HeightError(0.3, 80.0, 10_000.0, 0.0),
}


@pytest.mark.slow
@pytest.mark.parametrize("ground_kind", GROUNDS)
@pytest.mark.parametrize("error_kind", ERRORS)
@pytest.mark.parametrize("level_known", [True, False])
def test_chance_on_the_way_against_simulation(
    ground_kind: str, error_kind: str, level_known: bool, capsys: pytest.CaptureFixture[str]
) -> None:
    """One way over 360 m, its heads anew over 1,000 grounds with errors of the field.

    The worst place alone would overstate the chance by up to 0.49 in these cases.
    """
    error = ERRORS[error_kind]
    flat = flat_grid(5, 36)
    x = centres_of(flat)[:, 0].reshape(flat.values.shape)
    ground = Grid(GROUNDS[ground_kind](x), flat.transform, flat.crs)
    start, grade = (15.0, 25.0), Grade(0.004, 0.0, 1.0, 1.5, 1.0)
    level = float(np.median(ground.values[2])) + 4.0 + 0.8 * error.standard_deviation_m
    end = centres_of(ground)[2 * 36 + 5 : 3 * 36]
    water = np.full(len(end), level)
    starts = np.broadcast_to(start, end.shape)
    doubt = doubt_of(error, ground, start, None, level_known=level_known)
    found = follow_ways(ground, starts, end, water, water, grade, doubt).chance
    cells = centres_of(ground)[2 * 36 : 3 * 36]
    points = ErrorPoints(np.append(cells[:, 0], start[0]), np.append(cells[:, 1], start[1]))
    served = np.zeros(len(end))
    for drawn in simulate_errors(error, points, 1_000, random_state=5):
        heights = np.repeat((ground.values[2] - drawn[:-1])[None, :], 5, axis=0)
        water = np.full(len(end), level if level_known else level - drawn[-1])
        truth = Grid(heights, ground.transform, ground.crs)
        served += follow_ways(truth, starts, end, water, water, grade).spare_m >= 0
    above = found - served / 1_000
    with capsys.disabled():
        print(
            f"\n{ground_kind}, {error_kind}, level known {level_known}: chance less simulation "
            f"{above.min():+.3f} to {above.max():+.3f}, mean size {np.abs(above).mean():.3f}"
        )
    assert np.abs(above).max() < 0.12
    assert np.abs(above).mean() < 0.055


def test_a_level_taken_on_the_ground_in_doubt_settles_it(tmp_path) -> None:
    """The chance there goes to one where the true ground is lower, to none where it is higher."""
    doubtful = {"height_standard_deviation_m": 1.5, "correlation_length_m": 60.0}
    asked = {"head_m": 8.0}
    source = [at(0, 100, level_m=116.0)]
    before = find(FIELDS, slope, asked, source=source, terrain=doubtful).ground
    spare = before.residual_head_m.values - before.case.head_m
    far = before.pipe_length_m.values > 150
    row, column = np.unravel_index(np.argmin(np.where(far, np.abs(spare), np.inf)), spare.shape)
    easting, northing = centres_of(before.spare_m)[row * spare.shape[1] + column]
    assert 0.4 < before.chance.values[row, column] < 0.6
    for error_m, chance in ((1.0, 1.0), (-1.0, 0.0)):
        level = before.ground_level_m.values[row, column] - error_m
        table = f"name,easting,northing,level,deviation\nspot,{easting},{northing},{level},0.01\n"
        (tmp_path / "levels.csv").write_text(table, encoding="utf-8")
        terrain = {**doubtful, "levels": str(tmp_path / "levels.csv")}
        after = find(FIELDS, slope, asked, source=source, terrain=terrain).ground
        assert after.chance.values[row, column] == pytest.approx(chance, abs=0.01)
        assert after.assumed["levels"] == before.assumed["levels"] + 1
