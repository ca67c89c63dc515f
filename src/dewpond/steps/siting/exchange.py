"""Shorter walks from the same number of outlets, by exchanging one site at a time."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import scipy.sparse as sp

from dewpond.base.surface import FloatArray

IntArray = npt.NDArray[np.intp]

# An exchange must save at least this share of the whole walk, or rounding could go in circles.
_LEAST_SAVING = 1e-9
# Rounds over all chosen sites; in practice three or four are enough.
_MOST_ROUNDS = 25


def nearest_of(sites: IntArray, walk_m: sp.csr_array) -> tuple[IntArray, FloatArray, FloatArray]:
    """Return for each cell its nearest site, the walk to it and the walk to the next nearest.

    Parameters
    ----------
    sites : array of int
        Rows to choose from; of two equally near the earlier is taken.
    walk_m : csr_array, shape (n sites, m cells)

    Returns
    -------
    nearest : array of int, shape (m cells,)
        -1 where none is in reach.
    first_m, second_m : arrays of float, shape (m cells,)
        Infinite where there is none.
    """
    cells = walk_m.shape[1]
    nearest = np.full(cells, -1, dtype=np.intp)
    first_m, second_m = np.full(cells, np.inf), np.full(cells, np.inf)
    for site in sites:
        reached, distance_m = _row(walk_m, site)
        nearer = distance_m < first_m[reached]
        moved = reached[nearer]
        second_m[moved] = first_m[moved]
        first_m[moved], nearest[moved] = distance_m[nearer], site
        rest = reached[~nearer]
        second_m[rest] = np.minimum(second_m[rest], distance_m[~nearer])
    return nearest, first_m, second_m


def shorten_walks(sites: IntArray, walk_m: sp.csr_array, weight: FloatArray) -> IntArray:
    """Exchange chosen sites one at a time for others while the weighted walk gets shorter.

    Every cell in reach stays in reach, and the number of sites stays as it is. The result is the
    best that no single exchange improves; it is not proven shortest.

    Parameters
    ----------
    sites : array of int
        Chosen rows, a cover of every column that has an entry.
    walk_m : csr_array, shape (n sites, m cells)
    weight : array of float, shape (m cells,)
        Area of each cell, say.
    """
    columns = walk_m.tocsc()
    chosen = np.sort(sites)
    nearest, first_m, second_m = nearest_of(chosen, walk_m)
    for _ in range(_MOST_ROUNDS):
        settled = True
        for site in chosen.copy():
            others = chosen[chosen != site]
            others_m = np.where(nearest == site, second_m, first_m)
            better = _better_site(int(site), others, others_m, walk_m, columns, weight)
            if better != site:
                chosen = np.sort(np.append(others, better))
                nearest, first_m, second_m = nearest_of(chosen, walk_m)
                settled = False
        if settled:
            break
    return chosen


def _better_site(
    site: int,
    others: IntArray,
    others_m: FloatArray,
    walk_m: sp.csr_array,
    columns: sp.csc_array,
    weight: FloatArray,
) -> int:
    """Return the site that best stands in for one of the chosen, itself when none is better."""
    reached, _ = _row(walk_m, site)
    orphans = reached[np.isinf(others_m[reached])]
    if orphans.size == 0:
        return site
    counts = np.bincount(columns[:, orphans].indices, minlength=walk_m.shape[0])
    stand_ins = np.setdiff1d(np.flatnonzero(counts == orphans.size), others)
    costs = np.array([_saving(int(other), walk_m, others_m, weight) for other in stand_ins])
    own = costs[stand_ins == site][0]
    best = int(costs.argmin())
    total = float(weight @ np.where(np.isfinite(others_m), others_m, 0.0)) + own
    return int(stand_ins[best]) if own - costs[best] > _LEAST_SAVING * total else site


def _saving(site: int, walk_m: sp.csr_array, others_m: FloatArray, weight: FloatArray) -> float:
    """Return the change in weighted walk when a site joins the others; new cells add theirs."""
    reached, distance_m = _row(walk_m, site)
    before = others_m[reached]
    change = np.minimum(distance_m, before) - np.where(np.isfinite(before), before, 0.0)
    return float(weight[reached] @ change)


def _row(walk_m: sp.csr_array, row: int) -> tuple[IntArray, FloatArray]:
    part = slice(walk_m.indptr[row], walk_m.indptr[row + 1])
    return walk_m.indices[part].astype(np.intp), walk_m.data[part].astype(np.float64)
