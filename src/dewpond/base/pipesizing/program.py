"""The choice of pipe written as an integer program.

Each pipe's options stand in a ladder, narrow to wide; a variable says for each rung above the
lowest whether the pipe is at least that wide. Then "wider than its parent" and "rungs in order"
each tie just two variables, and the heads are the only rows with many: relaxed to fractions the
program is nearly whole already, and rounding every fraction up keeps to all it asks.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp

from dewpond.base.pipesizing.model import BoolArray, IntArray
from dewpond.base.pipesizing.tables import Tables
from dewpond.base.surface import FloatArray


@dataclass(frozen=True, eq=False)
class Program:
    """Least cost @ x with matrix @ x <= room and x whole, 0 or 1.

    Attributes
    ----------
    ladder : tuple of arrays of int, one a pipe
        Options of each pipe, narrow to wide.
    first : array of int, shape (pipes + 1,)
        Place of each pipe's first variable.
    cost : array of float, shape (variables,)
        Price of each rung over the one below.
    fixed_cost : float
        Cost with every pipe on its lowest rung.
    matrix : csr_array, shape (rows, variables)
        Order rows first, then one for each check that binds.
    room : array of float, shape (rows,)
    check_rows : int
        How many rows at the end are checks.
    """

    ladder: tuple[IntArray, ...]
    first: IntArray
    cost: FloatArray
    fixed_cost: float
    matrix: sp.csr_array
    room: FloatArray
    check_rows: int

    def choice(self, x: FloatArray) -> IntArray:
        """Return the option of each pipe that a solution stands for."""
        climbed = np.concatenate([[0.0], np.cumsum(np.round(x))])
        rungs = (climbed[self.first[1:]] - climbed[self.first[:-1]]).astype(int)
        return np.array([ladder[rung] for ladder, rung in zip(self.ladder, rungs, strict=True)])


def make_program(
    tables: Tables,
    allowed: BoolArray,
    parent: IntArray,
    diameter: FloatArray,
    may_grow: bool,
) -> Program:
    """Return the program for the options allowed, which must be in order (see `narrow`)."""
    ladder = tuple(
        _ladder(tables, options, diameter, pipe) for pipe, options in enumerate(allowed)
    )
    rungs = np.array([len(options) - 1 for options in ladder])
    first = np.concatenate([[0], np.cumsum(rungs)]).astype(np.intp)
    pipe = np.repeat(np.arange(len(ladder)), rungs)
    upper = np.concatenate([options[1:] for options in ladder])
    lower = np.concatenate([options[:-1] for options in ladder])
    lowest = np.array([options[0] for options in ladder])
    pairs = _rungs_in_order(first)
    if not may_grow:
        pairs += _sizes_in_order(ladder, first, parent, diameter)
    order = _differences(pairs, len(pipe))
    case, check = _binding_checks(tables, allowed)
    step = tables.loss_m[:, pipe, upper] - tables.loss_m[:, pipe, lower]
    heads = sp.csr_array(tables.weight[check][:, pipe] * step[case])
    at_lowest = tables.loss_m[:, np.arange(len(ladder)), lowest]
    room = tables.room_m[case, check] - (tables.weight[check] * at_lowest[case]).sum(axis=1)
    return Program(
        ladder,
        first,
        tables.cost[pipe, upper] - tables.cost[pipe, lower],
        float(tables.cost[np.arange(len(ladder)), lowest].sum()),
        sp.csr_array(sp.vstack([order, heads])),
        np.concatenate([np.zeros(len(pairs)), room]),
        len(case),
    )


def _ladder(tables: Tables, allowed: BoolArray, diameter: FloatArray, pipe: int) -> IntArray:
    """Return a pipe's options by outside diameter, then from most loss to least."""
    options = np.flatnonzero(allowed)
    loss = tables.loss_m[:, pipe, options].sum(axis=0)
    return np.asarray(options[np.lexsort((-loss, diameter[options]))], dtype=np.intp)


def _rungs_in_order(first: IntArray) -> list[tuple[int, int]]:
    """Return pairs (rung, rung below it): the first only with the second."""
    inner = np.setdiff1d(np.arange(first[-1]), first)
    return [(int(rung), int(rung) - 1) for rung in inner]


def _sizes_in_order(
    ladder: tuple[IntArray, ...], first: IntArray, parent: IntArray, diameter: FloatArray
) -> list[tuple[int, int]]:
    """Return pairs (rung of a child, rung of its parent): as wide only where the parent is."""
    pairs = []
    for child in np.flatnonzero(parent >= 0):
        above = parent[child]
        widths, cover = diameter[ladder[child]], diameter[ladder[above]]
        for width in np.unique(widths):
            own, other = np.searchsorted(widths, width), np.searchsorted(cover, width)
            if own > 0 and other > 0:  # a lowest rung is always there
                pairs.append((int(first[child] + own) - 1, int(first[above] + other) - 1))
    return pairs


def _differences(pairs: list[tuple[int, int]], columns: int) -> sp.csr_array:
    """Return rows x[a] - x[b], one a pair."""
    count = len(pairs)
    place = np.array(pairs, dtype=np.intp).reshape(count, 2)
    rows = np.repeat(np.arange(count), 2)
    values = np.tile([1.0, -1.0], count)
    return sp.csr_array((values, (rows, place.ravel())), shape=(count, columns))


def _binding_checks(tables: Tables, allowed: BoolArray) -> tuple[IntArray, IntArray]:
    """Return (case, check) of the checks that some choice could break and no other implies."""
    worst = np.where(allowed, tables.loss_m, -np.inf).max(axis=2) @ tables.weight.T
    case, check = np.nonzero(worst > tables.room_m)
    keep = _not_implied(tables, allowed, case, check)
    return case[keep], check[keep]


def _not_implied(tables: Tables, allowed: BoolArray, case: IntArray, check: IntArray) -> BoolArray:
    """Return which rows have no other with as much loss on the way in every choice, less room.

    Only rows of the same case or the same check are compared, where it happens most.
    """
    loss = np.where(allowed, tables.loss_m, 0.0)
    room, numbers = tables.room_m[case, check], np.arange(len(case))
    keep = np.ones(len(case), dtype=bool)
    for row in numbers:
        way = tables.weight[check[row]] > 0
        for group in (case == case[row], check == check[row]):
            other = np.flatnonzero(group & keep & (numbers != row) & (room <= room[row]))
            more = tables.weight[check[other]] >= tables.weight[check[row]]
            other = other[more.all(axis=1)]
            heavier = loss[case[other]][:, way] >= loss[case[row]][way]
            if heavier.all(axis=(1, 2)).any():
                keep[row] = False
                break
    return keep
