"""The one way in: narrow the options, search, or say what fails."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from dewpond.base.model import Proof
from dewpond.base.pipesizing.model import (
    BoolArray,
    IntArray,
    PipeOptions,
    PipeTree,
    Shortfall,
    Sizing,
    SizingRules,
)
from dewpond.base.pipesizing.narrow import best_loss, in_order, within_room, without_dominated
from dewpond.base.pipesizing.program import make_program
from dewpond.base.pipesizing.search import cheapest, least_raise
from dewpond.base.pipesizing.tables import (
    SMALL_HEAD_M,
    Tables,
    heads_at_checks,
    make_tables,
    pipes_fed_by,
)
from dewpond.base.surface import FloatArray

_UNPROVEN = Proof(np.nan, np.nan, 0.0, "no choice holds")
_SOLVER_SLACK_M = 1e-5  # ten times what the solver's own tolerance can leave


def size_pipes(tree: PipeTree, options: PipeOptions, rules: SizingRules | None = None) -> Sizing:
    """Choose one option for every pipe of a tree at least cost, proven least.

    Parameters
    ----------
    tree : PipeTree
    options : PipeOptions
    rules : SizingRules, optional

    Returns
    -------
    Sizing
        With a choice that holds every check in every case within a thousandth of a millimetre,
        or with every requirement that fails even under the best pipe offered.

    Raises
    ------
    SolverError
        Where the time limit passes before any choice is found.

    Notes
    -----
    A mixed-integer program on the tree, after Alperovits & Shamir (1977, Water Resources Research
    13:885, from memory), with whole pipes instead of split ones, so that the loss of a pipe in a
    case is a number for each option and every requirement is linear.
    """
    rules = rules or SizingRules()
    tables = make_tables(tree, options, rules)
    fed_by = pipes_fed_by(tree)
    headroom = float(tables.class_headroom_m.max(axis=1).min())
    allowed, shortfalls = _offered(tables, options, fed_by, rules)
    head = tables.start_level_m - best_loss(tables, allowed) @ tables.weight.T
    lacking = tree.checks.level_m - head
    shortfalls += _check_shortfalls(tree, head, lacking)
    if shortfalls:
        rise = float(lacking.max(initial=0.0))
        rise = rise if rise > SMALL_HEAD_M else 0.0
        return Sizing(None, head, tuple(shortfalls), rise, headroom, _UNPROVEN)
    choice, proof = _choose(tables, options, allowed, fed_by, rules)
    if choice is None:
        return _no_choice(tree, tables, options, allowed, fed_by, rules, headroom)
    return Sizing(choice, heads_at_checks(tables, choice), (), 0.0, headroom, proof)


def _offered(
    tables: Tables, options: PipeOptions, fed_by: IntArray, rules: SizingRules
) -> tuple[BoolArray, list[Shortfall]]:
    """Return the options each pipe may have by class, speed and size order, and what has none."""
    shortfalls = _pipe_shortfalls(tables, rules)
    allowed = _or_widest(tables, options)
    if rules.may_grow:
        return allowed, shortfalls
    ordered = in_order(allowed, fed_by, options.outside_diameter_m)
    shortfalls += _order_shortfalls(ordered, allowed, fed_by, options)
    return np.where(ordered.any(axis=1, keepdims=True), ordered, allowed), shortfalls


def _choose(
    tables: Tables,
    options: PipeOptions,
    allowed: BoolArray,
    fed_by: IntArray,
    rules: SizingRules,
) -> tuple[IntArray | None, Proof]:
    """Return the cheapest choice and its proof, None where nothing holds all checks together."""
    narrowed = _narrow(tables, options, allowed, fed_by, rules)
    if not narrowed.any(axis=1).all():
        return None, _UNPROVEN
    diameter = options.outside_diameter_m
    program = make_program(tables, narrowed, fed_by, diameter, rules.may_grow)
    choice, proof = cheapest(program, rules)
    if choice is None or _within(tables, choice):
        return choice, proof
    # The solver's tolerance let a hair's breadth through: leave it less room.
    tighter = replace(tables, room_m=tables.room_m - _SOLVER_SLACK_M)
    return cheapest(make_program(tighter, narrowed, fed_by, diameter, rules.may_grow), rules)


def _within(tables: Tables, choice: IntArray) -> bool:
    lost = tables.start_level_m - heads_at_checks(tables, choice)
    return bool((lost <= tables.room_m + SMALL_HEAD_M).all())


def _narrow(
    tables: Tables,
    options: PipeOptions,
    allowed: BoolArray,
    fed_by: IntArray,
    rules: SizingRules,
) -> BoolArray:
    """Return the options worth searching: fewer, with the same least cost."""
    left = allowed
    for _ in range(3):  # each rule can sharpen the next; more rounds hardly strike out more
        smaller = within_room(tables, left)
        if not rules.may_grow:
            smaller = in_order(smaller, fed_by, options.outside_diameter_m)
        if (smaller == left).all():
            break
        left = smaller
    return without_dominated(tables, options, left, rules.may_grow)


def _or_widest(tables: Tables, options: PipeOptions) -> BoolArray:
    """Return the allowed options, the best of the failing ones where a pipe has none."""
    allowed = tables.allowed.copy()
    for pipe in np.flatnonzero(~allowed.any(axis=1)):
        usable = tables.strong[pipe] if tables.strong[pipe].any() else np.ones_like(allowed[pipe])
        allowed[pipe] = usable & (options.bore_m == options.bore_m[usable].max())
    return allowed


def _pipe_shortfalls(tables: Tables, rules: SizingRules) -> list[Shortfall]:
    """Return the pipes for which nothing is strong enough, or nothing strong wide enough."""
    found = []
    for pipe in np.flatnonzero(~tables.allowed.any(axis=1)):
        strong = tables.strong[pipe]
        # Where speed alone rules out the strong ones, speed is what fails.
        if strong.any():
            speed = float(tables.speed_m_s[pipe][strong].min())
            limit = rules.velocity_limit_m_s
            found.append(Shortfall("velocity", int(pipe), -1, -1, speed, limit, "m/s"))
        else:
            headroom = float(tables.class_headroom_m[pipe].max())
            found.append(Shortfall("pressure class", int(pipe), -1, -1, headroom, 0.0, "m"))
    return found


def _order_shortfalls(
    ordered: BoolArray, allowed: BoolArray, fed_by: IntArray, options: PipeOptions
) -> list[Shortfall]:
    """Return the pipes that must be wider than any pipe their parents may have."""
    found = []
    diameter_mm = options.outside_diameter_m * 1000.0
    empty = ~ordered.any(axis=1)
    for pipe in np.flatnonzero(empty & (fed_by >= 0)):
        narrowest = float(diameter_mm[allowed[pipe]].min())
        widest = float(diameter_mm[allowed[fed_by[pipe]]].max())
        if narrowest > widest:
            found.append(Shortfall("size order", int(pipe), -1, -1, widest, narrowest, "mm"))
    return found


def _check_shortfalls(tree: PipeTree, head: FloatArray, lacking: FloatArray) -> list[Shortfall]:
    """Return the checks that fail with the best pipe everywhere, each in its worst case."""
    found = []
    for check in np.flatnonzero((lacking > SMALL_HEAD_M).any(axis=0)):
        case = int(lacking[:, check].argmax())
        figure, limit = float(head[case, check]), float(tree.checks.level_m[case, check])
        pipe = int(tree.checks.pipe[check])
        kind = tree.checks.kind[check]
        found.append(Shortfall(kind, pipe, int(check), case, figure, limit, "m"))
    return found


def _no_choice(
    tree: PipeTree,
    tables: Tables,
    options: PipeOptions,
    allowed: BoolArray,
    fed_by: IntArray,
    rules: SizingRules,
    headroom: float,
) -> Sizing:
    """Say what fails where each requirement could be met alone but not all together.

    This happens where size order and pressure class pull apart: then the choice that needs the
    least rise of the start levels shows which checks fail.
    """
    program = make_program(tables, allowed, fed_by, options.outside_diameter_m, rules.may_grow)
    choice, rise = least_raise(program, rules)
    head = heads_at_checks(tables, choice)
    found = _check_shortfalls(tree, head, tree.checks.level_m - head)
    return Sizing(None, head, tuple(found), rise, headroom, _UNPROVEN)
