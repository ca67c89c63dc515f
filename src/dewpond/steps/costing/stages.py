"""Stages of building: the order, what a budget reaches, and what each stage holds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from dewpond.base.model import Demand, Reach
from dewpond.base.staging import (
    BoolArray,
    StageProblem,
    best_within,
    build_order,
    part_in_stages,
)
from dewpond.base.surface import FloatArray
from dewpond.base.words import words
from dewpond.steps.costing.book import SOURCE
from dewpond.steps.costing.facts import Facts
from dewpond.steps.costing.takeoff import mobile_troughs_by_mob

_COLUMNS = ["pipes", "outlets", "paddocks", "net", "gross", "running_gross", "within_budget"]


@dataclass(frozen=True, eq=False)
class Staging:
    """What is built when.

    Attributes
    ----------
    outlets : list of list of str
        Names of the outlets of each stage.
    of_element : dict of str to int
        Stage, 1 to n, in which each element is built.
    within : int
        Number of stages, from the first, that the budget reaches.
    share, bound : float
        What the outlets within the budget water, of what all water, and the most that any could.
    warnings : list of str
    """

    outlets: list[list[str]]
    of_element: dict[str, int]
    within: int
    share: float
    bound: float
    warnings: list[str]


def stage_works(
    facts: Facts, reach: Reach, demand: Demand, takeoff: pd.DataFrame, gross_factor: float
) -> Staging:
    """Return the stages of a scheme.

    Parameters
    ----------
    takeoff : DataFrame
        Columns ``element``, ``amount``.
    gross_factor : float
        What contingency and tax make of a net amount of 1.
    """
    nodes = facts.network.nodes
    outlets = [str(name) for name in nodes.index[nodes["kind"] == "outlet"]]
    if not outlets:
        return Staging([], {}, 0, 1.0, 1.0, [words("costing.no_outlets")])
    elements = list(dict.fromkeys([SOURCE, *map(str, facts.network.pipes.index), *outlets,
                                   *takeoff["element"]]))  # fmt: skip
    price = takeoff.groupby("element")["amount"].sum().reindex(elements).fillna(0.0)
    waters = _waters(facts, reach, outlets)
    patches, of_cell = _patches(waters)
    worth = np.zeros(patches.shape[1])
    np.add.at(worth, of_cell, _worth_of_cells(facts, reach, demand))
    problem = StageProblem(
        _needs(facts, outlets, elements), price.to_numpy(float) * gross_factor, patches, worth
    )
    return _in_stages(facts, problem, outlets, elements)


def _in_stages(
    facts: Facts, problem: StageProblem, outlets: list[str], elements: list[str]
) -> Staging:
    costing = facts.settings.costing
    everything = problem.worth_of(range(len(outlets)))
    first: tuple[int, ...] = tuple(range(len(outlets)))
    share = bound = 1.0
    warnings = []
    if costing.budget is not None and problem.cost_of(first) > costing.budget:
        choice = best_within(problem, costing.budget)
        first = choice.outlets
        share, bound = (w / max(everything, 1e-9) for w in (choice.worth, choice.bound))
        if not choice.proven:
            warnings.append(words("costing.not_proven", share_percent=100.0 * bound))
        if not first:
            warnings.append(words("costing.nothing_within"))
    order = build_order(problem, first)
    parts = _parts(problem, order, len(first), costing.most_stages)
    of_element: dict[str, int] = {}
    for stage, members in enumerate(parts, start=1):
        for number in np.flatnonzero(problem.needs[members].any(axis=0)).tolist():
            of_element.setdefault(elements[number], stage)
    for element in elements:
        of_element.setdefault(element, len(parts))
    within = sum(1 for members in parts if set(members) <= set(first))
    named = [[outlets[outlet] for outlet in members] for members in parts]
    return Staging(named, of_element, within, share, bound, warnings)


def _parts(problem: StageProblem, order: list[int], within: int, most: int) -> list[list[int]]:
    """Part the order in stages, none of which straddles the budget."""
    built = np.zeros(problem.needs.shape[1], dtype=bool)
    price = []
    for outlet in order:
        price.append(float(problem.cost[problem.needs[outlet] & ~built].sum()))
        built |= problem.needs[outlet]
    head, tail = price[:within], price[within:]
    if not head or not tail:
        return [[order[at] for at in part] for part in part_in_stages(price, most)]
    for_head = min(max(1, round(most * sum(head) / max(sum(price), 1e-9))), max(1, most - 1))
    parts = [[order[at] for at in part] for part in part_in_stages(head, for_head)]
    rest = part_in_stages(tail, max(1, most - for_head))
    return parts + [[order[within + at] for at in part] for part in rest]


def _needs(facts: Facts, outlets: list[str], elements: list[str]) -> BoolArray:
    """Return what each outlet needs: the source, the way to it, itself, its mobs' troughs."""
    at = {element: number for number, element in enumerate(elements)}
    starts = facts.network.pipes["from_node"]
    needs = np.zeros((len(outlets), len(elements)), dtype=bool)
    for row, outlet in enumerate(outlets):
        needs[row, [at[SOURCE], at[outlet]]] = True
        node = outlet
        while node in facts.feeding:
            pipe = facts.feeding[node]
            needs[row, at[pipe]] = True
            node = str(starts[pipe])
    for mob, places in mobile_troughs_by_mob(facts).items():
        if f"mob {mob}" in at:
            needs[[outlets.index(place) for place in places], at[f"mob {mob}"]] = True
    return needs


def _waters(facts: Facts, reach: Reach, outlets: list[str]) -> BoolArray:
    """Return which cells each outlet waters, shape (outlets, cells)."""
    sites = facts.network.nodes.loc[outlets, "site"].to_numpy(dtype=np.intp)
    return np.asarray(reach.walk_m[sites].astype(bool).toarray())


def _patches(waters: BoolArray) -> tuple[BoolArray, npt.NDArray[np.intp]]:
    """Return the patches, cells that the same outlets water, and the patch of each cell."""
    if not waters.shape[1]:
        return waters, np.zeros(0, dtype=np.intp)
    packed = np.packbits(waters, axis=0)
    _, first, of_cell = np.unique(packed, axis=1, return_index=True, return_inverse=True)
    return waters[:, first], np.asarray(of_cell, dtype=np.intp).ravel()


def _worth_of_cells(facts: Facts, reach: Reach, demand: Demand) -> FloatArray:
    """Return ground [m2], or its share of the water that its paddock's stock need [L/day]."""
    area_m2 = reach.cells["area_m2"].to_numpy(float)
    if facts.settings.costing.order_by == "ground":
        return np.asarray(area_m2)
    paddock = reach.cells["paddock"]
    whole = pd.Series(area_m2).groupby(paddock.to_numpy()).transform("sum").to_numpy(float)
    need_l = demand.paddocks["daily_demand_l"].reindex(paddock).to_numpy(float)
    return np.asarray(need_l * area_m2 / whole)


def stage_table(
    facts: Facts, reach: Reach, staging: Staging, takeoff: pd.DataFrame, totals: dict[str, float]
) -> pd.DataFrame:
    """Return the table of stages; the last running total is the gross of the schedule."""
    count = len(staging.outlets)
    labels = pd.RangeIndex(1, count + 1, name="stage")
    net = takeoff.groupby("stage")["amount"].sum().reindex(labels).fillna(0.0)
    gross = net * (totals["gross"] / totals["net"] if totals["net"] > 0.0 else 1.0)
    pipes: list[list[str]] = [[] for _ in labels]
    for pipe in map(str, facts.network.pipes.index):
        if count:
            pipes[staging.of_element[pipe] - 1].append(pipe)
    table = pd.DataFrame(index=labels, columns=_COLUMNS, dtype=object)
    table["pipes"] = [tuple(names) for names in pipes]
    in_order = {str(name): at for at, name in enumerate(facts.network.nodes.index)}
    table["outlets"] = [
        tuple(sorted(names, key=in_order.__getitem__)) for names in staging.outlets
    ]
    table["paddocks"] = _whole_paddocks(facts, reach, staging)
    table["net"], table["gross"], table["running_gross"] = net, gross, gross.cumsum()
    table["within_budget"] = np.arange(count) < staging.within
    return table.astype({"net": float, "gross": float, "running_gross": float,
                         "within_budget": bool})  # fmt: skip


def _whole_paddocks(facts: Facts, reach: Reach, staging: Staging) -> list[tuple[str, ...]]:
    """Return the paddocks all of whose ground has water from each stage on, of what ever has."""
    outlets = [name for names in staging.outlets for name in names]
    waters = _waters(facts, reach, outlets) if outlets else np.zeros((0, len(reach.cells)), bool)
    ever = waters.any(axis=0)
    paddock = reach.cells["paddock"].to_numpy()
    names = facts.holding.paddocks["name"]
    done: set[int] = set()
    wet = np.zeros(len(paddock), dtype=bool)
    found = []
    position = 0
    for members in staging.outlets:
        wet |= waters[position : position + len(members)].any(axis=0)
        position += len(members)
        whole = set(paddock[ever].tolist()) - set(paddock[ever & ~wet].tolist()) - done
        found.append(tuple(str(names[ident]) for ident in sorted(whole)))
        done |= whole
    return found
