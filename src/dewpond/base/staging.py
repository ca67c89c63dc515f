"""In what order to build a tree, and the best part of it that a budget reaches.

Outlets need elements (pipes on the way, works at the source, their own fittings); what one has
built serves the next. An outlet waters patches of ground, some of which another waters too.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy.sparse as sp
from scipy.optimize import Bounds, LinearConstraint, milp

from dewpond.base.errors import SolverError
from dewpond.base.surface import FloatArray

BoolArray = npt.NDArray[np.bool_]
_CENT = 0.005
_SAME = 1e-9


@dataclass(frozen=True, eq=False)
class StageProblem:
    """What outlets need and what they are worth.

    Attributes
    ----------
    needs : array of bool, shape (n outlets, m elements)
        What must stand before an outlet works.
    cost : array of float, shape (m,)
        Price of each element.
    waters : array of bool, shape (n, k patches)
        Patches that each outlet waters.
    worth : array of float, shape (k,)
        Worth of each patch: area, or the water its stock need; not below zero.
    """

    needs: BoolArray
    cost: FloatArray
    waters: BoolArray
    worth: FloatArray

    def cost_of(self, outlets: Sequence[int]) -> float:
        """Return the price of building some outlets and all that they need."""
        return float(self.cost[self.needs[list(outlets)].any(axis=0)].sum())

    def worth_of(self, outlets: Sequence[int]) -> float:
        """Return the worth of all patches that some outlets water."""
        return float(self.worth[self.waters[list(outlets)].any(axis=0)].sum())


@dataclass(frozen=True)
class Choice:
    """Outlets chosen within a budget.

    Attributes
    ----------
    outlets : tuple of int
        Positions, ascending.
    worth, bound : float
        What they water, and the most that any choice within the budget could.
    """

    outlets: tuple[int, ...]
    worth: float
    bound: float

    @property
    def proven(self) -> bool:
        """Whether no other choice could water more."""
        return self.bound <= self.worth * (1.0 + 1e-6) + _SAME


def best_within(problem: StageProblem, budget: float, time_limit_s: float = 60.0) -> Choice:
    """Return the outlets of greatest worth whose price is within a budget, the cheapest such.

    Parameters
    ----------
    problem : StageProblem
    budget : float
    time_limit_s : float
        For each of the two searches, worth first, then price at that worth.

    Raises
    ------
    SolverError
        When the solver stops without an answer.

    Notes
    -----
    A mixed integer programme, solved to proof by HiGHS: outlet and element 0 or 1, patch between;
    an outlet takes what it needs, a patch counts where one of its outlets is built.
    """
    outlets, elements = problem.needs.shape
    patches = len(problem.worth)
    if not outlets or problem.worth.sum() <= 0.0:
        return Choice((), 0.0, 0.0)
    rows = _rows(problem)
    money = np.concatenate([np.zeros(outlets), problem.cost, np.zeros(patches)])
    worth = np.concatenate([np.zeros(outlets + elements), problem.worth])
    whole = np.concatenate([np.ones(outlets + elements), np.zeros(patches)])
    limits = [LinearConstraint(rows, -np.inf, 0.0), LinearConstraint(money, -np.inf, budget)]
    options = {"time_limit": time_limit_s, "mip_rel_gap": 0.0}
    best = milp(
        -worth, integrality=whole, bounds=Bounds(0, 1), constraints=limits, options=options
    )
    if best.x is None:
        raise SolverError(f"the best scheme within the budget was not found: {best.message}")
    kept = _outlets_of(best.x, outlets)
    reached = problem.worth_of(kept)
    bound = -float(best.mip_dual_bound if best.mip_dual_bound is not None else best.fun)
    least = LinearConstraint(worth, reached * (1.0 - 1e-9), np.inf)
    cheap = milp(money, integrality=whole, bounds=Bounds(0, 1), constraints=[*limits, least],
                 options=options)  # fmt: skip
    if cheap.x is not None:
        cheaper = _outlets_of(cheap.x, outlets)
        if problem.worth_of(cheaper) >= reached * (1.0 - 1e-6) and (
            problem.cost_of(cheaper) <= problem.cost_of(kept) + _CENT
        ):
            kept = cheaper
    return Choice(kept, problem.worth_of(kept), max(bound, problem.worth_of(kept)))


def _outlets_of(solution: FloatArray, outlets: int) -> tuple[int, ...]:
    return tuple(np.flatnonzero(solution[:outlets] > 0.5).tolist())


def _rows(problem: StageProblem) -> sp.csr_array:
    """Return outlet - element <= 0 for each need, and patch - its outlets <= 0."""
    outlets, elements = problem.needs.shape
    patches = len(problem.worth)
    who, what = np.nonzero(problem.needs)
    each = np.arange(len(who))
    need = sp.coo_array(
        (
            np.repeat([1.0, -1.0], len(who)),
            (np.tile(each, 2), np.concatenate([who, outlets + what])),
        ),
        shape=(len(who), outlets + elements + patches),
    )
    by, patch = np.nonzero(problem.waters)
    patch_column = outlets + elements + np.arange(patches)
    water = sp.coo_array(
        (
            np.concatenate([np.ones(patches), -np.ones(len(by))]),
            (np.concatenate([np.arange(patches), patch]), np.concatenate([patch_column, by])),
        ),
        shape=(patches, outlets + elements + patches),
    )
    return sp.csr_array(sp.vstack([need, water]))


def build_order(problem: StageProblem, first: Sequence[int] = ()) -> list[int]:
    """Return all outlets in an order in which each works as soon as it is built.

    At every turn the outlet comes next that gains most for the price of what it still needs; of
    equals the one that stands first. Outlets that gain nothing come last, the cheapest first.

    Parameters
    ----------
    problem : StageProblem
    first : sequence of int
        Outlets to build before any other, the best within a budget.
    """
    order: list[int] = []
    built = np.zeros(problem.needs.shape[1], dtype=bool)
    dry = np.ones(len(problem.worth), dtype=bool)
    groups = [list(first), [o for o in range(len(problem.needs)) if o not in set(first)]]
    needs, waters = problem.needs.astype(float), problem.waters.astype(float)
    for group in groups:
        left = list(group)
        while left:
            price = needs[left] @ (problem.cost * ~built)
            gain = waters[left] @ (problem.worth * dry)
            rank = np.lexsort((np.array(left), price, -gain / np.maximum(price, _CENT)))
            outlet = left.pop(int(rank[0]))
            order.append(outlet)
            built |= problem.needs[outlet]
            dry &= ~problem.waters[outlet]
    return order


def part_in_stages(price: Sequence[float], most: int) -> list[list[int]]:
    """Part a sequence of works in at most so many stages, none of trifling price.

    Parameters
    ----------
    price : sequence of float
        Price of each work, in the order of building.
    most : int
        Most stages.

    Returns
    -------
    list of list of int
        Positions in the sequence, stage after stage. A stage ends once it holds its even part of
        the whole price; what is left at the end joins the stage before unless it is half as much.
    """
    even = float(sum(price)) / most
    stages: list[list[int]] = []
    spent = np.inf
    for position, amount in enumerate(price):
        if spent >= even - _SAME and len(stages) < most:
            stages.append([])
            spent = 0.0
        stages[-1].append(position)
        spent += amount
    if len(stages) > 1 and spent < even / 2.0:
        last = stages.pop()
        stages[-1] += last
    return stages
