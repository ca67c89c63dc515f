"""Which groups and sites of a cover can be left out without changing the least cost."""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp

from dewpond.base.jointdesign.problem import BoolArray, FloatArray, IntArray


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
    distinct = groups[unique]
    shared = sp.coo_array(distinct @ distinct.T)
    size = np.diff(distinct.indptr)
    contains = (shared.data == size[shared.col]) & (shared.row != shared.col)
    is_larger = np.zeros(len(unique), dtype=bool)
    is_larger[shared.row[contains]] = True
    return unique[~is_larger]


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
