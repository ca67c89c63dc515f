"""Cells with the same outlets in reach made one group: by hand, and beside a plain loop."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import scipy.sparse as sp

from dewpond.base.model import CellGroups, Reach
from dewpond.steps.grouping import group_cells


def reach(walk_m: list[list[float]], area_m2: list[float], hose_m: float = 0.0) -> Reach:
    """Walks from sites (rows) to cells; zero is out of reach."""
    cells = pd.DataFrame({"area_m2": area_m2})
    return Reach(cells, sp.csr_array(np.array(walk_m, dtype=np.float32)), 400.0, hose_m)


def test_by_hand() -> None:
    # Cells 0 and 2 hear sites 0 and 1, cell 1 hears none, cell 3 hears site 1 alone.
    groups = group_cells(
        reach([[10, 0, 30, 0], [20, 0, 5, 7]], area_m2=[2.0, 9.0, 4.0, 3.0])
    )  # fmt: skip
    assert groups.of_cell.tolist() == [0, -1, 0, 1]
    assert groups.sites.toarray().tolist() == [[1, 1], [0, 1]]
    assert groups.walk.toarray().tolist() == [[10 * 2 + 30 * 4, 20 * 2 + 5 * 4], [0, 7 * 3]]


def test_within_the_hose_a_group_keeps_its_sites_at_no_walk() -> None:
    groups = group_cells(reach([[10, 12], [40, 50]], area_m2=[1.0, 1.0], hose_m=30.0))
    assert groups.walk.toarray().tolist() == [[0, 10 + 20]]
    assert groups.walk.indices.tolist() == groups.sites.indices.tolist() == [0, 1]


def _by_loop(given: Reach) -> tuple[list[frozenset[int]], dict[tuple[int, int], float]]:
    """Return the sites of each group in order of first cell, and the walk of each pair."""
    walks = given.walk_m.toarray()
    kinds: list[frozenset[int]] = []
    summed: dict[tuple[int, int], float] = {}
    for cell, area in enumerate(given.cells["area_m2"]):
        kind = frozenset(np.flatnonzero(walks[:, cell]).tolist())
        if kind and kind not in kinds:
            kinds.append(kind)
        for site in kind:
            beyond = max(float(walks[site, cell]) - given.hose_m, 0.0)
            pair = (kinds.index(kind), site)
            summed[pair] = summed.get(pair, 0.0) + beyond * area
    return kinds, summed


def _pairs(groups: CellGroups) -> dict[tuple[int, int], float]:
    entries = groups.walk.tocoo()
    return {
        (int(group), int(site)): float(value)
        for group, site, value in zip(entries.row, entries.col, entries.data, strict=True)
    }


@pytest.mark.parametrize("random_state", range(6))
def test_beside_a_plain_loop(random_state: int) -> None:
    random = np.random.default_rng(random_state)
    walk_m = random.uniform(0.5, 60, (7, 90)) * (random.random((7, 90)) < 0.3)
    given = reach(walk_m.tolist(), random.uniform(1, 25, 90).tolist(), hose_m=20.0)
    groups = group_cells(given)
    kinds, summed = _by_loop(given)
    rows = np.split(groups.sites.indices, groups.sites.indptr[1:-1])
    assert [frozenset(row.tolist()) for row in rows] == kinds
    assert _pairs(groups) == pytest.approx(summed)
