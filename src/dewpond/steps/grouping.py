"""Step: grazed cells that ask for the same, made one group."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import scipy.sparse as sp

from dewpond.base.model import CellGroups, Reach

IntArray = npt.NDArray[np.intp]
BoolArray = npt.NDArray[np.bool_]

# Random keys by which like cells are found; any other state gives the same groups.
_KEY_STATE = 20_231


def group_cells(reach: Reach) -> CellGroups:
    """Return the groups of a reach, in the order of their first cell."""
    columns = reach.walk_m.tocsc()
    columns.sort_indices()
    of_cell, first = _alike(columns)
    one_each = sp.csc_array(
        (np.ones(columns.nnz), columns.indices, columns.indptr), shape=columns.shape
    )
    sites = one_each[:, first].T.tocsr()
    return CellGroups(sites, _walks(columns, sites, of_cell, reach), of_cell)


def _alike(columns: sp.csc_array) -> tuple[IntArray, IntArray]:
    """Return the group of each column, -1 for an empty one, and the first column of each group.

    Columns are brought together by the sum of random keys of their rows, and each is then
    compared with the first of its kind entry by entry, so chance cannot merge two that differ.
    """
    random = np.random.default_rng(_KEY_STATE)
    filled = np.diff(columns.indptr) > 0
    leader = np.full(columns.shape[1], -1, dtype=np.intp)
    left = np.flatnonzero(filled)
    while left.size:
        keys = random.integers(0, 2**63, columns.shape[0], dtype=np.uint64)
        sums = np.zeros(columns.shape[1], dtype=np.uint64)
        sums[filled] = np.add.reduceat(keys[columns.indices], columns.indptr[:-1][filled])
        _, first, kind = np.unique(sums[left], return_index=True, return_inverse=True)
        leads = left[first[kind]]
        same = _same_columns(columns, left, leads)
        leader[left[same]] = leads[same]
        left = left[~same]
    first, of_filled = np.unique(leader[filled], return_inverse=True)
    of_cell = np.full(columns.shape[1], -1, dtype=np.intp)
    of_cell[filled] = of_filled
    return of_cell, first


def _same_columns(columns: sp.csc_array, one: IntArray, other: IntArray) -> BoolArray:
    """Tell for each pair of filled columns whether their stored rows are equal."""
    sizes = np.diff(columns.indptr)
    same: BoolArray = sizes[one] == sizes[other]
    pairs = np.flatnonzero(same & (one != other))
    if pairs.size:
        lengths = sizes[one[pairs]]
        starts = np.cumsum(lengths) - lengths
        steps = np.arange(lengths.sum()) - np.repeat(starts, lengths)
        left = columns.indices[np.repeat(columns.indptr[one[pairs]], lengths) + steps]
        right = columns.indices[np.repeat(columns.indptr[other[pairs]], lengths) + steps]
        same[pairs] = np.logical_and.reduceat(left == right, starts)
    return same


def _walks(
    columns: sp.csc_array, sites: sp.csr_array, of_cell: IntArray, reach: Reach
) -> sp.csr_array:
    area_m2 = reach.cells["area_m2"].to_numpy(dtype=np.float64)
    beyond_m = np.maximum(columns.data.astype(np.float64) - reach.hose_m, 0.0)
    cell = np.repeat(np.arange(columns.shape[1]), np.diff(columns.indptr))
    # All cells of a group list the same sites, so the place within its column is that within
    # the row of its group; a sum of sparse arrays would drop the walks that are zero.
    within = np.arange(columns.nnz) - columns.indptr[cell]
    place = sites.indptr[of_cell[cell]] + within
    summed = np.bincount(place, weights=beyond_m * area_m2[cell], minlength=sites.nnz)
    return sp.csr_array((summed, sites.indices, sites.indptr), shape=sites.shape)
