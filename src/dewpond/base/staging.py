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
from scipy.optimize import Bounds, LinearConstraint, OptimizeResult, milp

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


def best_within(problem: StageProblem, budget: float, node_limit: int = 2000) -> Choice:
    """Return the outlets of greatest worth whose price is within a budget, the cheapest such.

    Parameters
    ----------
    problem : StageProblem
    budget : float
    node_limit : int
        Most branches of each of the two searches, for worth and then for price at that worth. A
        search that reaches it leaves the choice unproven; the same search gives the same answer.

    Raises
    ------
    SolverError
        When the solver stops without an answer.

    Notes
    -----
    A mixed integer programme, solved to proof by HiGHS: outlet and element 0 or 1, patch between;
    an outlet takes what it needs, a patch counts where one of its outlets is built.
    """
    outlets = len(problem.needs)
    if not outlets or problem.worth.sum() <= 0.0:
        return Choice((), 0.0, 0.0)
    small = _without_twins(problem)
    elements, patches = len(small.cost), len(small.worth)
    money = np.concatenate([np.zeros(outlets), small.cost, np.zeros(patches)])
    worth = np.concatenate([np.zeros(outlets + elements), small.worth])
    whole = np.concatenate([np.ones(outlets + elements), np.zeros(patches)])
    within = [LinearConstraint(_rows(small), -np.inf, 0.0), LinearConstraint(money, 0.0, budget)]
    options = {"node_limit": node_limit, "mip_rel_gap": 0.0}

    def search(aim: FloatArray, limits: Sequence[LinearConstraint]) -> OptimizeResult:
        return milp(aim, integrality=whole, bounds=Bounds(0, 1), constraints=limits,
                    options=options)  # fmt: skip

    best = search(-worth, within)
    if best.x is None:
        raise SolverError(f"the best scheme within the budget was not found: {best.message}")
    kept = _outlets_of(best.x, outlets)
    reached = problem.worth_of(kept)
    bound = reached if best.mip_dual_bound is None else max(reached, -float(best.mip_dual_bound))
    as_good = LinearConstraint(worth, reached * (1.0 - _SAME), np.inf)
    cheap = search(money, [*within, as_good])
    cheaper = kept if cheap.x is None else _outlets_of(cheap.x, outlets)
    if problem.worth_of(cheaper) >= reached * (1.0 - 1e-6) and (
        problem.cost_of(cheaper) <= problem.cost_of(kept) + _CENT
    ):
        kept = cheaper
    return Choice(kept, problem.worth_of(kept), bound)


def _outlets_of(solution: FloatArray, outlets: int) -> tuple[int, ...]:
    return tuple(np.flatnonzero(solution[:outlets] > 0.5).tolist())


def _without_twins(problem: StageProblem) -> StageProblem:
    """Return the problem with elements of the same outlets as one, and patches likewise."""
    needs, of_element = np.unique(problem.needs, axis=1, return_inverse=True)
    waters, of_patch = np.unique(problem.waters, axis=1, return_inverse=True)
    cost, worth = np.zeros(needs.shape[1]), np.zeros(waters.shape[1])
    np.add.at(cost, of_element.ravel(), problem.cost)
    np.add.at(worth, of_patch.ravel(), problem.worth)
    wet = waters.any(axis=0)
    return StageProblem(needs, cost, waters[:, wet], worth[wet])


def _rows(problem: StageProblem) -> sp.csr_array:
    """Return outlet or element - what it needs next <= 0, and patch - its outlets <= 0.

    Along a pipe each stretch needs the one before it; that outlets at its end need them all
    follows, with far fewer rows.
    """
    outlets, elements = problem.needs.shape
    patches = len(problem.worth)
    before, after = _next_needs(problem.needs)
    each = np.arange(len(before))
    need = sp.coo_array(
        (np.repeat([1.0, -1.0], len(before)), (np.tile(each, 2), np.concatenate([before, after]))),
        shape=(len(before), outlets + elements + patches),
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


def _next_needs(needs: BoolArray) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """Return pairs of columns (what needs, what it needs), none that follows from two others."""
    outlets = len(needs)
    # Whom each column serves: an outlet itself, an element the outlets that need it.
    serves = np.hstack([np.eye(outlets, dtype=bool), needs]).astype(np.float32)
    both = serves.T @ serves
    inside = (both == serves.sum(axis=0)[:, None]) & ~np.eye(len(both), dtype=bool)
    inside[:, :outlets] = False  # nothing needs an outlet
    same = inside & inside.T
    strict = inside & ~same
    # An outlet and the element that only it needs serve the same: that element is its next.
    strict[:outlets] |= inside[:outlets]
    by_way = (strict.astype(np.float32) @ strict.astype(np.float32)) > 0.0
    before, after = np.nonzero(strict & ~by_way)
    return before, after


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
