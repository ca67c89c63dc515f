"""The linear system of a Newton step: links as conductances between nodes of unknown head."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from scipy.sparse.linalg import splu

from dewpond.base.pipenetwork.model import IntArray
from dewpond.base.surface import FloatArray

_DENSE_UP_TO = 120  # unknown heads; beyond, the sparse factors win


@dataclass(frozen=True, eq=False)
class Laplacian:
    """Where each link's conductance goes in the matrix of the unknown heads, for all cases.

    Attributes
    ----------
    size : int
        Unknown heads a case.
    cases : int
    links : array of int, shape (entries,)
        Link that an entry comes from.
    signs : array of float, shape (entries,)
        +1 on the diagonal, -1 off it.
    slots : array of int, shape (entries,)
        Place of the entry in the stored values of one case's matrix.
    slot_count : int
    columns : array of int, or None
        Row of each stored value and starts of the columns (compressed sparse columns), for all
        cases as one block-diagonal matrix; None where the matrices are dense.
    """

    size: int
    cases: int
    links: IntArray
    signs: FloatArray
    slots: IntArray
    slot_count: int
    columns: tuple[IntArray, IntArray] | None

    def solve(self, conductance: FloatArray, right: FloatArray) -> FloatArray:
        """Return the unknown heads (cases, size) for conductances (cases, links)."""
        offsets = self.slot_count * np.arange(self.cases)[:, None]
        values = np.bincount(
            (self.slots + offsets).ravel(),
            (conductance[:, self.links] * self.signs).ravel(),
            self.slot_count * self.cases,
        )
        if self.columns is None:
            matrices = values.reshape(self.cases, self.size, self.size)
            return np.asarray(np.linalg.solve(matrices, right[:, :, None])[:, :, 0])
        rows, starts = self.columns
        matrix = sp.csc_array((values, rows, starts), shape=(right.size, right.size))
        # Symmetric and diagonally dominant: no pivoting is needed, and order by A + A'.
        factors = splu(
            matrix,
            permc_spec="MMD_AT_PLUS_A",
            diag_pivot_thresh=0.0,
            options={"SymmetricMode": True},
        )
        return np.asarray(factors.solve(right.ravel()).reshape(right.shape))


def make_laplacian(start: IntArray, end: IntArray, unknown: IntArray, cases: int) -> Laplacian:
    """Return the layout of the system.

    Parameters
    ----------
    start, end : array of int, shape (links,)
        Nodes of each link.
    unknown : array of int, shape (nodes,)
        Place of each node among the unknown heads, -1 where its head is fixed.
    cases : int
    """
    size = int(unknown.max()) + 1
    links = np.arange(len(start))
    a, b = unknown[start], unknown[end]
    both = (a >= 0) & (b >= 0)
    rows = np.concatenate([a[a >= 0], b[b >= 0], a[both], b[both]])
    columns = np.concatenate([a[a >= 0], b[b >= 0], b[both], a[both]])
    entry_links = np.concatenate([links[a >= 0], links[b >= 0], links[both], links[both]])
    ends = int((a >= 0).sum() + (b >= 0).sum())
    signs = np.where(np.arange(len(rows)) < ends, 1.0, -1.0)
    if size <= _DENSE_UP_TO:
        slots = rows * size + columns
        return Laplacian(size, cases, entry_links, signs, slots, size * size, None)
    keys, slots = np.unique(columns * size + rows, return_inverse=True)
    starts = np.searchsorted(keys, np.arange(size + 1) * size)
    block = np.arange(cases)[:, None]
    all_rows = (keys % size + size * block).ravel()
    all_starts = np.append((starts[:-1] + len(keys) * block).ravel(), len(keys) * cases)
    return Laplacian(
        size,
        cases,
        entry_links,
        signs,
        slots.astype(np.intp),
        len(keys),
        (all_rows.astype(np.int32), all_starts.astype(np.int32)),  # type: ignore[arg-type]
    )
