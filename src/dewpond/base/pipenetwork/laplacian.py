"""The linear system of a Newton step: links as conductances between nodes of unknown head."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy.sparse as sp
from scipy.sparse.linalg import splu

from dewpond.base.surface import FloatArray

IntArray = npt.NDArray[np.intp]

_DENSE_UP_TO = 120  # unknown heads; beyond, the sparse factors win


@dataclass(frozen=True, eq=False)
class Laplacian:
    """Where each link's conductance goes in the matrix of the unknown heads.

    Attributes
    ----------
    size : int
        Unknown heads a case.
    links : array of int, shape (entries,)
        Link that an entry comes from.
    signs : array of float, shape (entries,)
        +1 on the diagonal, -1 off it.
    slots : array of int, shape (entries,)
        Place of the entry in the stored values of one case's matrix.
    slot_count : int
    columns : pair of arrays of int, or None
        Row of each stored value, and starts of the columns (compressed sparse columns); None
        where the matrix is dense.
    """

    size: int
    links: IntArray
    signs: FloatArray
    slots: IntArray
    slot_count: int
    columns: tuple[IntArray, IntArray] | None

    def solve(self, conductance: FloatArray, right: FloatArray) -> FloatArray:
        """Return the unknown heads (cases, size) for conductances (cases, links)."""
        cases = len(conductance)
        places = self.slots + self.slot_count * np.arange(cases)[:, None]
        values = np.bincount(
            places.ravel(),
            (conductance[:, self.links] * self.signs).ravel(),
            self.slot_count * cases,
        )
        if self.columns is None:
            matrices = values.reshape(cases, self.size, self.size)
            return np.asarray(np.linalg.solve(matrices, right[:, :, None])[:, :, 0])
        # All cases at once, as one block-diagonal matrix.
        rows, starts = self.columns
        block = np.arange(cases)[:, None]
        all_rows = (rows + self.size * block).ravel()
        all_starts = np.append((starts[:-1] + len(rows) * block).ravel(), values.size)
        matrix = sp.csc_array((values, all_rows, all_starts), shape=(right.size, right.size))
        # Symmetric and diagonally dominant: no pivoting is needed.
        factors = splu(
            matrix,
            permc_spec="MMD_AT_PLUS_A",
            diag_pivot_thresh=0.0,
            options={"SymmetricMode": True},
        )
        return np.asarray(factors.solve(right.ravel()).reshape(right.shape))


def make_laplacian(start: IntArray, end: IntArray, unknown: IntArray) -> Laplacian:
    """Return the layout of the system.

    Parameters
    ----------
    start, end : array of int, shape (links,)
        Nodes of each link.
    unknown : array of int, shape (nodes,)
        Place of each node among the unknown heads, -1 where its head is fixed.
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
        return Laplacian(size, entry_links, signs, rows * size + columns, size * size, None)
    keys, slots = np.unique(columns * size + rows, return_inverse=True)
    starts = np.searchsorted(keys, np.arange(size + 1) * size)
    shape = (keys % size, starts.astype(np.intp))
    return Laplacian(size, entry_links, signs, slots.astype(np.intp), len(keys), shape)
