"""Walks against the exact polygon shortest path, and the grid graph against the same."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from affine import Affine
from random_paddocks import on_fence, random_paddock
from thin_paddocks import comb, farthest_corner, star
from visibility import exact_walks
from walking_fields import points, walk, walks_of

from dewpond.steps.walking import rooms
from dewpond.steps.walking.cells import cut_cells

NUMBERS = range(15)
CELL_M = 5.0


def _worst_error(number: int, cell_m: float = CELL_M) -> float:
    paddock = random_paddock(number)
    source = on_fence(paddock, 0.37)
    reach = walk([paddock], [(0, 0, *source)], cell_m=cell_m)
    chance = np.random.default_rng(number)
    picked = chance.choice(len(reach.cells), 150, replace=False)
    exact = exact_walks(paddock, source, points(reach)[picked])
    found = walks_of(reach)[picked]
    far = exact > 5 * cell_m
    assert far.sum() > 100
    assert np.abs(found - exact)[~far].max(initial=0.0) < 0.05
    return float((np.abs(found - exact)[far] / exact[far]).max())


@pytest.mark.parametrize("number", NUMBERS)
def test_walks_match_the_visibility_graph(number: int) -> None:
    worst = _worst_error(number)
    print(f"paddock {number}: largest error {100 * worst:.4f} %")
    assert worst < 0.0005


@pytest.mark.parametrize("number", range(1, 4))
def test_the_grid_graph_alone_stays_within_one_and_a_half_percent(
    number: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    paddock = random_paddock(number)
    source = on_fence(paddock, 0.37)
    exact = walks_of(walk([paddock], [(0, 0, *source)], cell_m=2.5))

    def no_straight_ways(room: object, start: object, limit_m: float) -> tuple[np.ndarray, ...]:
        return np.zeros(0, dtype=int), np.zeros(0), np.zeros(0)

    monkeypatch.setattr(rooms, "straight_costs", no_straight_ways)
    monkeypatch.setattr(rooms, "lower_round_corners", lambda *_: None)
    monkeypatch.setattr(rooms, "_may_be_bettered", lambda *_: True)
    tilt = walk([paddock], [(0, 0, *source)], cell_m=2.5, heights=lambda x, y: 1e-9 * x)
    grid = walks_of(tilt)
    compared = np.isfinite(grid) & (exact > 12.5)
    assert compared.sum() > 0.9 * len(exact)
    error = grid[compared] / exact[compared] - 1
    print(f"paddock {number}: grid graph errs by {100 * error.max():.2f} %")
    assert error.min() > -0.0005
    assert error.max() < 0.015


def test_the_reference_knows_a_closed_form() -> None:
    square = shapely.box(0, 0, 10, 10).difference(shapely.box(4, 0, 6, 8))
    (found,) = exact_walks(square, np.array([0.0, 0.0]), np.array([[10.0, 0.0]]))
    assert found == pytest.approx(2 * np.hypot(4, 8) + 2)


THIN = {
    "12 spikes, 16 m wide at the root": star(12, 30, 250),
    "24 spikes, 3 m wide at the root": star(24, 10, 120),
    "7 spikes, 0.9 m wide at the root": star(7, 1, 100),
    "teeth 2 m wide": comb(8, 2, 2, 40, 12),
    "teeth 0.5 m wide, 0.1 m at the tip": comb(10, 0.5, 0.1, 40, 12),
    "teeth 3 m wide, 0.06 m at the tip": comb(6, 3, 0.06, 50, 10),
}


@pytest.mark.parametrize("slope", [0.0, 0.3])
@pytest.mark.parametrize("shape", THIN)
def test_walks_into_parts_thinner_than_a_cell(shape: str, slope: float) -> None:
    """A tilted plane laid flat stretches by sqrt(1+s²) up the slope, and the same graph serves.

    From a tip and from the side; the farthest cells, in the tips, are among those compared.
    """
    paddock = THIN[shape]
    sources = [farthest_corner(paddock), on_fence(paddock, 0.337)]
    access = [(number, 0, *source) for number, source in enumerate(sources)]
    reach = walk([paddock], access, heights=lambda x, y: 100 + slope * x)
    stretch = np.array([np.hypot(1, slope), 1.0])
    laid_flat = shapely.transform(paddock, lambda xy: xy * stretch)
    chance = np.random.default_rng(1).permutation(len(reach.cells))[:60]
    for number, source in enumerate(sources):
        found = walks_of(reach, number)
        assert np.isfinite(found).all()
        picked = np.unique([*np.argsort(found)[-20:], *chance])
        exact = exact_walks(laid_flat, source * stretch, points(reach)[picked] * stretch)
        far = exact > 5 * CELL_M
        assert far.sum() > 50
        error = found[picked] / exact - 1
        print(f"{shape}: errs by {100 * error[far].min():.3f} to {100 * error[far].max():.3f} %")
        assert np.abs(error[far]).max() < 0.002
        assert np.abs(found[picked] - exact)[~far].max(initial=0.0) < 0.05


@pytest.mark.parametrize("shape", THIN)
def test_cells_stand_in_every_tip(shape: str) -> None:
    """No ground wider than a cell / 25, which may be halved by the grid, is 1.5 cells from one."""
    paddock = THIN[shape]
    cells = cut_cells(paddock, Affine(CELL_M, 0, 0, 0, -CELL_M, 0))
    wide = paddock.buffer(-CELL_M / 50, join_style="mitre").buffer(CELL_M / 50)
    ground = shapely.points(shapely.get_coordinates(shapely.segmentize(wide, 1.0)))
    tree = shapely.STRtree(shapely.points(cells[["easting_m", "northing_m"]].to_numpy()))
    _, gap = tree.query_nearest(ground, return_distance=True, all_matches=False)
    assert gap.max() < 1.5 * CELL_M
