"""The search: round the relaxed program to a first choice, then prove or better it with HiGHS."""

from __future__ import annotations

import time

import numpy as np
import scipy.sparse as sp
from scipy.optimize import Bounds, LinearConstraint, linprog, milp

from dewpond.base.errors import SolverError
from dewpond.base.model import Proof
from dewpond.base.pipesizing.model import IntArray, SizingRules
from dewpond.base.pipesizing.program import Program
from dewpond.base.surface import FloatArray

_ROUNDING = 1e-9
_NOTHING_HOLDS = 2  # status of the solver


def cheapest(program: Program, rules: SizingRules) -> tuple[IntArray | None, Proof]:
    """Return the option of each pipe of least cost, None where none holds, and the proof.

    Raises
    ------
    SolverError
        Where the time limit passes before any choice is found.
    """
    began = time.perf_counter()
    size = len(program.cost)
    if size == 0:  # one option a pipe: nothing to search
        fits = bool((program.room >= -_ROUNDING).all())
        value = program.fixed_cost if fits else np.nan
        status = "optimal" if fits else "no choice holds"
        return program.choice(np.empty(0)) if fits else None, Proof(value, value, 0.0, status)
    rows = [LinearConstraint(program.matrix, -np.inf, program.room)]
    start, bound = _first_choice(program)
    if start is not None:
        # No dearer than a choice in hand: the search may drop all that is.
        dearest = program.cost @ start
        margin = 1e-9 * (program.fixed_cost + abs(dearest))
        rows.append(LinearConstraint(program.cost[None, :], -np.inf, dearest + margin))
    result = milp(
        program.cost,
        integrality=np.ones(size),
        bounds=Bounds(0, 1),
        constraints=rows,
        options={"mip_rel_gap": rules.gap, "time_limit": rules.time_limit_s},
    )
    seconds = time.perf_counter() - began
    if result.status == _NOTHING_HOLDS and start is None:
        return None, Proof(np.nan, np.nan, seconds, "no choice holds")
    best = start if result.x is None else np.round(result.x)
    if best is None:
        raise SolverError(f"sizing stopped without a choice: {result.message}")
    value = program.fixed_cost + float(program.cost @ best)
    if result.status == _NOTHING_HOLDS:  # nothing cheaper than the choice in hand
        return program.choice(best), Proof(value, value, seconds, "optimal")
    if result.mip_dual_bound is not None:
        bound = max(bound, float(result.mip_dual_bound))
    status = "optimal" if result.status == 0 else "time limit"
    proof = Proof(value, min(value, program.fixed_cost + bound), seconds, status)
    return program.choice(best), proof


def _first_choice(program: Program) -> tuple[FloatArray | None, float]:
    """Return a good choice and a bound: the relaxed program rounded up, then narrowed.

    No choice where rounding up breaks a check (a wider pipe with so thick a wall that it loses
    more) or where the relaxed program holds nothing.
    """
    relaxed = linprog(program.cost, A_ub=program.matrix, b_ub=program.room, bounds=(0, 1))
    if relaxed.x is None:
        return None, -np.inf
    x = np.ceil(relaxed.x - 1e-7)
    use = program.matrix @ x
    if (use > program.room + _ROUNDING).any():
        return None, float(relaxed.fun)
    columns = sp.csc_array(program.matrix)
    dearest_first = np.argsort(-program.cost, kind="stable")
    narrowed = True
    while narrowed:
        narrowed = False
        for rung in dearest_first[(x[dearest_first] > 0.5) & (program.cost[dearest_first] > 0)]:
            part = slice(columns.indptr[rung], columns.indptr[rung + 1])
            rows, values = columns.indices[part], columns.data[part]
            if (use[rows] - values <= program.room[rows] + _ROUNDING).all():
                use[rows] -= values
                x[rung] = 0.0
                narrowed = True
    return np.asarray(x), float(relaxed.fun)


def least_raise(program: Program, rules: SizingRules) -> tuple[IntArray, float]:
    """Return the choice that needs the least rise of every start level, and that rise [m].

    Raises
    ------
    SolverError
        Where the time limit passes before any choice is found.
    """
    size, rows = len(program.cost), len(program.room)
    lifted = np.arange(rows) >= rows - program.check_rows
    column = sp.csr_array(np.where(lifted, -1.0, 0.0)[:, None])
    result = milp(
        np.append(np.zeros(size), 1.0),
        integrality=np.append(np.ones(size), 0),
        bounds=Bounds(0, np.append(np.ones(size), np.inf)),
        constraints=LinearConstraint(
            sp.csr_array(sp.hstack([program.matrix, column])), -np.inf, program.room
        ),
        options={"time_limit": rules.time_limit_s},
    )
    if result.x is None:
        raise SolverError(f"sizing stopped without a choice: {result.message}")
    return program.choice(result.x[:-1]), float(result.x[-1])
