"""Walks against the exact polygon shortest path, and the grid graph against the same."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from random_paddocks import on_fence, random_paddock
from visibility import exact_walks
from walking_fields import points, walk, walks_of

from dewpond.steps.walking import rooms

NUMBERS = range(15)
CELL_M = 5.0


def _worst_error(number: int, cell_m: float = CELL_M) -> float:
    paddock = random_paddock(number)
    source = on_fence(paddock, 0.37)
    reach = walk([paddock], [(0, 0, *source)], cell_m=cell_m)
    chance = np.random.default_rng(number)
    picked = chance.choice(len(reach.cells), 200, replace=False)
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


@pytest.mark.parametrize("number", range(6))
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
