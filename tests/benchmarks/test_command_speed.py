"""Following every way of a command area at once, beside a plain loop and a library's profiles."""

from __future__ import annotations

import time

import numpy as np
import pyproj
import pytest
from affine import Affine
from skimage.measure import profile_line

from dewpond.base.surface import Grid
from dewpond.steps.command.ways import Doubt, Grade, follow_ways
from dewpond.steps.command.window import centres_of

CELLS, CELL_M = 500, 5.0
LOOPED = 400


def hills() -> Grid:
    y, x = np.mgrid[0:CELLS, 0:CELLS]
    heights = 200 + 0.1 * x + 10 * np.sin(x / 40) * np.cos(y / 60)
    transform = Affine(CELL_M, 0, 0, 0, -CELL_M, CELLS * CELL_M)
    return Grid(heights, transform, pyproj.CRS(27700))


def plain(ground: Grid, start: np.ndarray, end: np.ndarray, level: float, grade: Grade) -> float:
    """One way, point by point, in plain Python: least head over the ground on it."""
    values, cell = ground.values, ground.transform.a
    x0, y0 = start[0] / cell - 0.5, (CELLS * cell - start[1]) / cell - 0.5
    x1, y1 = end[0] / cell - 0.5, (CELLS * cell - end[1]) / cell - 0.5
    count = max(1, int(np.ceil(np.hypot(x1 - x0, y1 - y0) - 1e-9)))
    length, least, before = 0.0, np.inf, None
    for step in range(count + 1):
        x, y = x0 + (x1 - x0) * step / count, y0 + (y1 - y0) * step / count
        left, top = min(int(x), CELLS - 2), min(int(y), CELLS - 2)
        across, down = x - left, y - top
        height = (
            values[top, left] * (1 - across) * (1 - down)
            + values[top, left + 1] * across * (1 - down)
            + values[top + 1, left] * (1 - across) * down
            + values[top + 1, left + 1] * across * down
        )
        if before is not None:
            flat = np.hypot(x1 - x0, y1 - y0) / count * cell
            length += (flat**2 + (height - before) ** 2) ** 0.5
            least = min(least, level - grade.loss_per_m * length - height)
        before = height
    return float(least)


@pytest.mark.benchmark
def test_500_by_500_cells(capsys: pytest.CaptureFixture[str]) -> None:
    ground, level = hills(), 262.0
    end = centres_of(ground)
    count = len(end)
    start = np.broadcast_to(np.array([1302.5, 1197.5]), end.shape)
    water, bare = np.full(count, level), Grade(0.01, 0.0, 1.0, 0.0, 0.0)
    doubt = Doubt(lambda x, y: np.full(x.shape, 1.0), 30.0, 0.5)
    clock = time.process_time
    begun = clock()
    ways = follow_ways(ground, start, end, water, water, bare)
    alone = clock() - begun
    begun = clock()
    follow_ways(ground, start, end, water, water, bare, doubt)
    with_chances = clock() - begun
    some = np.random.default_rng(0).choice(count, LOOPED, replace=False)
    begun = clock()
    looped = [plain(ground, start[i], end[i], level, bare) for i in some]
    loop = (clock() - begun) / LOOPED * count
    begun = clock()
    for i in some:
        row, column = divmod(int(i), CELLS)
        profile_line(ground.values, (260, 260), (row, column), order=1, mode="nearest")
    library = (clock() - begun) / LOOPED * count
    # Right beside the source the margin is not asked, so only ways that end high are compared.
    ends = ways.residual_head_m[some]
    decided = np.isclose(looped, ends, atol=1e-9)
    np.testing.assert_allclose(ways.spare_m[some][decided], np.array(looped)[decided], atol=1e-9)
    with capsys.disabled():
        print(
            f"\n500 x 500 cells, processor time: all at once {alone:.2f} s, with chances "
            f"{with_chances:.2f} s; plain loop {loop:.0f} s ({loop / alone:.0f} times), profiles "
            f"of scikit-image alone {library:.0f} s ({library / alone:.0f} times)"
        )
