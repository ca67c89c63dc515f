"""The choice as a mixed-integer program: one option a pipe, least cost, every check held."""

from __future__ import annotations

import time

import numpy as np
import scipy.sparse as sp
from scipy.optimize import Bounds, LinearConstraint, milp

from dewpond.base.errors import SolverError
from dewpond.base.model import Proof
from dewpond.base.pipesizing.model import BoolArray, IntArray, SizingRules
from dewpond.base.pipesizing.tables import Tables
from dewpond.base.surface import FloatArray


def cheapest(
    tables: Tables,
    allowed: BoolArray,
    parent: IntArray,
    diameter: FloatArray,
    rules: SizingRules,
) -> tuple[IntArray | None, Proof]:
    """Return the option of each pipe of least cost, None where none holds, and the proof.

    Raises
    ------
    SolverError
        Where the time limit passes before any choice is found.
    """
    began = time.perf_counter()
    pipe, option = np.nonzero(allowed)
    cost = tables.cost[pipe, option]
    constraints = [_one_each(pipe, len(allowed))]
    rows, room = _check_rows(tables, allowed, pipe, option)
    if len(room):
        constraints.append(LinearConstraint(rows, -np.inf, room))
    if not rules.may_grow:
        constraints += _order(pipe, diameter[option], parent)
    result = milp(
        cost,
        integrality=np.ones(len(cost)),
        bounds=Bounds(0, 1),
        constraints=constraints,
        options={"mip_rel_gap": rules.gap, "time_limit": rules.time_limit_s},
    )
    seconds = time.perf_counter() - began
    if result.status == 2:
        return None, Proof(np.nan, np.nan, seconds, "no choice holds")
    if result.x is None:
        raise SolverError(f"sizing stopped without a choice: {result.message}")
    chosen = np.full(len(allowed), -1, dtype=np.intp)
    taken = result.x > 0.5
    chosen[pipe[taken]] = option[taken]
    value = float(tables.cost[np.arange(len(chosen)), chosen].sum())
    status = "optimal" if result.status == 0 else "time limit"
    return chosen, Proof(value, min(value, float(result.mip_dual_bound)), seconds, status)


def least_raise(
    tables: Tables,
    allowed: BoolArray,
    parent: IntArray,
    diameter: FloatArray,
    rules: SizingRules,
) -> tuple[IntArray, float]:
    """Return the choice that needs the least rise of every start level, and that rise [m].

    Raises
    ------
    SolverError
        Where the time limit passes before any choice is found.
    """
    pipe, option = np.nonzero(allowed)
    constraints = [_one_each(pipe, len(allowed))]
    rows, room = _check_rows(tables, allowed, pipe, option)
    if not rules.may_grow:
        constraints += _order(pipe, diameter[option], parent)
    column = sp.csr_array(np.full((len(room), 1), -1.0))
    constraints = [
        LinearConstraint(_with_empty_column(sp.csr_array(item.A)), item.lb, item.ub)
        for item in constraints
    ]
    constraints.append(LinearConstraint(sp.hstack([rows, column]).tocsr(), -np.inf, room))
    size = len(pipe)
    result = milp(
        np.append(np.zeros(size), 1.0),
        integrality=np.append(np.ones(size), 0),
        bounds=Bounds(0, np.append(np.ones(size), np.inf)),
        constraints=constraints,
        options={"time_limit": rules.time_limit_s},
    )
    if result.x is None:
        raise SolverError(f"sizing stopped without a choice: {result.message}")
    chosen = np.full(len(allowed), -1, dtype=np.intp)
    taken = result.x[:-1] > 0.5
    chosen[pipe[taken]] = option[taken]
    return chosen, float(result.x[-1])


def _with_empty_column(matrix: sp.csr_array) -> sp.csr_array:
    return sp.csr_array(sp.hstack([matrix, sp.csr_array((matrix.shape[0], 1))]))


def _one_each(pipe: IntArray, pipes: int) -> LinearConstraint:
    columns = np.arange(len(pipe))
    matrix = sp.csr_array((np.ones(len(pipe)), (pipe, columns)), shape=(pipes, len(pipe)))
    return LinearConstraint(matrix, 1, 1)


def _order(pipe: IntArray, diameter: FloatArray, parent: IntArray) -> list[LinearConstraint]:
    """Return rows saying, for each child and diameter: if it is that wide, so is its parent."""
    row, column, value, count = [], [], [], 0
    columns_of = [np.flatnonzero(pipe == number) for number in range(len(parent))]
    for child in np.flatnonzero(parent >= 0):
        own, above = columns_of[child], columns_of[parent[child]]
        narrowest = diameter[above].min()
        for width in np.unique(diameter[own]):
            if width <= narrowest:
                continue
            wide = own[diameter[own] >= width]
            cover = above[diameter[above] >= width]
            row += [count] * (len(wide) + len(cover))
            column += [*wide, *cover]
            value += [1.0] * len(wide) + [-1.0] * len(cover)
            count += 1
    if not count:
        return []
    matrix = sp.csr_array((value, (row, column)), shape=(count, len(pipe)))
    return [LinearConstraint(matrix, -np.inf, 0)]


def _check_rows(
    tables: Tables, allowed: BoolArray, pipe: IntArray, option: IntArray
) -> tuple[sp.csr_array, FloatArray]:
    """Return the rows (loss on the way is within the room) that some choice could break."""
    worst = np.where(allowed, tables.loss_m, -np.inf).max(axis=2) @ tables.weight.T
    case, check = np.nonzero(worst > tables.room_m)
    keep = _undominated(tables, allowed, case, check)
    case, check = case[keep], check[keep]
    rows = tables.weight[check][:, pipe] * tables.loss_m[case][:, pipe, option]
    return sp.csr_array(rows), tables.room_m[case, check]


def _undominated(tables: Tables, allowed: BoolArray, case: IntArray, check: IntArray) -> BoolArray:
    """Return which rows no other row implies: more loss on the way, and no more room."""
    worst = np.where(allowed, tables.loss_m, 0.0)
    keep = np.ones(len(case), dtype=bool)
    for row in range(len(case)):
        for group in (case == case[row], check == check[row]):
            other = np.flatnonzero(group & keep & (np.arange(len(case)) != row))
            more = (tables.weight[check[other]] >= tables.weight[check[row]]).all(axis=1)
            more &= (
                tables.room_m[case[other], check[other]] <= tables.room_m[case[row], check[row]]
            )
            way = tables.weight[check[row]] > 0
            heavier = worst[case[other]][:, way] >= worst[case[row]][way]
            if (more & heavier.all(axis=(1, 2))).any():
                keep[row] = False
                break
    return keep
