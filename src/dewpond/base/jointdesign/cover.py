"""Which groups and sites of a cover can be left out without changing the least cost."""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp

from dewpond.base.jointdesign.problem import BoolArray, FloatArray, IntArray

_BLOCK = 500
"""Groups that are compared at a time."""


def tidy_rows(groups: sp.csr_array) -> sp.csr_array:
    """Return a copy of ones without stored zeros or doubles, indices sorted."""
    tidy = sp.csr_array(groups, dtype=np.int32, copy=True)
    tidy.sum_duplicates()
    tidy.eliminate_zeros()
    tidy.data[:] = 1
    tidy.sort_indices()
    return tidy


def smallest_groups(groups: sp.csr_array) -> IntArray:
    """Return the groups that contain no other group, one of each set of equal ones, ascending.

    A group that contains another is served whenever the other is.
    """
    if not groups.shape[0]:
        return np.empty(0, dtype=np.int64)
    first: dict[bytes, int] = {}
    for row, members in enumerate(np.split(groups.indices, groups.indptr[1:-1])):
        first.setdefault(members.tobytes(), row)
    unique = np.array(sorted(first.values()), dtype=np.int64)
    unique = unique[np.argsort(np.diff(groups.indptr)[unique], kind="stable")]
    smallest = np.empty(0, dtype=np.int64)
    # From small to large a group need only be held against the smallest found so far, and in
    # blocks the product stays small where ten thousand groups overlap.
    for block in np.array_split(unique, -(-len(unique) // _BLOCK)):
        known = np.concatenate((smallest, block))
        larger = _contain_another(groups[block], groups[known], len(smallest))
        smallest = np.concatenate((smallest, block[~larger]))
    return np.sort(smallest)


def _contain_another(block: sp.csr_array, known: sp.csr_array, before: int) -> BoolArray:
    """Return which rows of the block contain a row of those known, of which they are the last."""
    shared = sp.coo_array(block @ known.T)
    size = np.diff(known.indptr)
    contains = (shared.data == size[shared.col]) & (shared.row + before != shared.col)
    larger = np.zeros(block.shape[0], dtype=bool)
    larger[shared.row[contains]] = True
    return larger


def useful_sites(
    groups: sp.csr_array, node: IntArray, cost: FloatArray, keep: BoolArray
) -> BoolArray:
    """Return which sites are not made superfluous by a better one at the same node.

    A site is superfluous when another at its node serves at least its groups and costs no
    more, or when it serves no group; those in `keep` always stay.
    """
    by_site = sp.csr_array(groups.T.tocsr())
    size = np.diff(by_site.indptr)
    useful = (size > 0) | keep
    order = np.lexsort((np.arange(len(node)), cost, -size, node))
    for block in np.split(order, np.flatnonzero(np.diff(node[order])) + 1):
        if len(block) < 2:
            continue
        rows = by_site[block]
        inside = (rows @ rows.T).toarray() == size[block][:, None]
        better = inside & (cost[block][None, :] <= cost[block][:, None])
        # Of two equal sites the earlier one in the order stays.
        twins = better & better.T
        better &= ~twins | np.tri(len(block), k=-1, dtype=bool)
        useful[block[better.any(axis=1) & ~keep[block]]] = False
    return np.asarray(useful)
