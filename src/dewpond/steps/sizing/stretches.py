"""Pipes cut at break tanks and reducing valves, as the tree that is sized, with its checks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dewpond.base.pipesizing import Checks, PipeTree, PressureBreak
from dewpond.base.pipesizing.clearance import TANK_INLET_HEAD_M, level_asked_m
from dewpond.base.settings import PipeSettings
from dewpond.base.surface import FloatArray
from dewpond.steps.sizing.offer import Offer
from dewpond.steps.sizing.scheme import IntArray, Scheme


@dataclass(frozen=True, eq=False)
class Stretches:
    """The tree that is sized: every pipe, or its parts where it is cut.

    Attributes
    ----------
    tree : PipeTree
    pipe : array of int, shape (stretches,)
        Pipe of the scheme that each is part of.
    first, last : array of int, shape (stretches,)
        Points of the pipe's ground at its ends.
    check_outlet : array of int, shape (checks,)
        Outlet of the scheme that a check asks for, -1 for one of the ground or a tank.
    check_point : array of int, shape (checks,)
        Point of the pipe's ground at each check.
    still_level_m : array of float, shape (stretches,)
        Level with no flow.
    """

    tree: PipeTree
    pipe: IntArray
    first: IntArray
    last: IntArray
    check_outlet: IntArray
    check_point: IntArray
    still_level_m: FloatArray


@dataclass(frozen=True)
class _Part:
    pipe: int
    first: int
    last: int
    parent: int
    level_m: float | None  # that a break holds at its start; None where it goes on


def cut_at(
    scheme: Scheme, breaks: Sequence[PressureBreak], offer: Offer, pipe: PipeSettings
) -> Stretches:
    """Return the tree to be sized, with levels reset at the breaks."""
    parts = _parts(scheme, breaks)
    of_pipe = np.array([part.pipe for part in parts], dtype=np.intp)
    first = np.array([part.first for part in parts], dtype=np.intp)
    last = np.array([part.last for part in parts], dtype=np.intp)
    share = np.array([_share(scheme, part) for part in parts])
    start, still = _start_levels(scheme, parts)
    outlet, point, checks = _checks(scheme, parts, still, breaks, pipe)
    highest = [
        still[number] - scheme.low_ground_m(part.pipe)[part.first : part.last + 1].min()
        for number, part in enumerate(parts)
    ]
    laid = scheme.laid[of_pipe]
    old = offer.existing_options(scheme.existing_mm)[of_pipe]
    there = scheme.existing[of_pipe] & (old >= 0) & laid
    parent = np.array([part.parent for part in parts], dtype=np.intp)
    tree = PipeTree(
        parent=parent,
        length_m=scheme.length_m[of_pipe] * share,
        minor_loss=pipe.fittings_loss * share,
        # Pipe that is not laid binds nothing: no pressure, no flow, no price.
        highest_static_head_m=np.where(laid, highest, 0.0),
        flow_m3_s=np.where(laid, scheme.flow_m3_s[:, of_pipe], 0.0),
        start_level_m=start,
        checks=checks,
        fixed_option=np.where(there, old, -1),
        # Pipe that is there already was not sized with this scheme, nor does it bind the rest.
        in_order=~(there | ~laid | ((parent >= 0) & there[parent])),
        priced_length_m=np.where(there, scheme.new_m[of_pipe], scheme.length_m[of_pipe])
        * share
        * laid,
    )
    return Stretches(tree, of_pipe, first, last, outlet, point, still)


def _parts(scheme: Scheme, breaks: Sequence[PressureBreak]) -> list[_Part]:
    parts: list[_Part] = []
    end_of = np.full(len(scheme.pipes), -1, dtype=np.intp)  # last part of each pipe
    for pipe, ground in enumerate(scheme.ground_m):
        above = int(scheme.parent[pipe])
        parent = int(end_of[above]) if above >= 0 else -1
        begin, level = 0, None
        for item in (item for item in breaks if item.pipe == pipe):
            if item.position > begin:
                parts.append(_Part(pipe, begin, item.position, parent, level))
                parent = len(parts) - 1
            begin, level = item.position, item.level_m
        if begin < len(ground) - 1:
            parts.append(_Part(pipe, begin, len(ground) - 1, parent, level))
        end_of[pipe] = len(parts) - 1
    return parts


def _share(scheme: Scheme, part: _Part) -> float:
    distance = scheme.distance_m[part.pipe]
    return float((distance[part.last] - distance[part.first]) / distance[-1])


def _start_levels(scheme: Scheme, parts: Sequence[_Part]) -> tuple[FloatArray, FloatArray]:
    """Return levels (cases, parts) held at starts, NaN where none is, and still levels."""
    start = np.full((len(scheme.flow_m3_s), len(parts)), np.nan)
    still = np.empty(len(parts))
    for number, part in enumerate(parts):
        if part.level_m is not None:
            start[:, number] = still[number] = part.level_m
        elif part.parent < 0:
            start[:, number], still[number] = scheme.source_level_m, scheme.still_level_m
        else:
            still[number] = still[part.parent]
    return start, still


def _checks(
    scheme: Scheme,
    parts: Sequence[_Part],
    still_m: FloatArray,
    breaks: Sequence[PressureBreak],
    pipe: PipeSettings,
) -> tuple[IntArray, IntArray, Checks]:
    """Return outlet and point of each check, and the checks."""
    rows: list[tuple[int, int, int, str]] = []  # part, point, outlet, kind
    levels: list[FloatArray] = []
    end_of = {part.pipe: number for number, part in enumerate(parts)}
    for outlet, above in enumerate(scheme.outlet_pipe.tolist()):
        if above < 0:
            continue
        needed = scheme.outlet_level_m[outlet]
        rows.append((end_of[above], parts[end_of[above]].last, outlet, "outlet"))
        levels.append(np.where(scheme.used[:, outlet], needed, -np.inf))
    reached = scheme.reached_pipes
    for number, part in enumerate(parts):
        if not reached[part.pipe]:
            continue
        margin_m = 0.0 if scheme.bare[part.pipe] else pipe.summit_margin_m
        level = _ground_asked(scheme, part, float(still_m[number]), margin_m)
        for point in _binding(scheme.distance_m[part.pipe], level, part.first, part.last):
            rows.append((number, point, -1, "summit"))
            levels.append(np.where(scheme.asking, level[point], -np.inf))
    for item in breaks:
        for number, part in enumerate(parts):
            if part.pipe == item.pipe and part.last == item.position:
                tank = item.kind == "break tank"
                asked = item.level_m + (TANK_INLET_HEAD_M if tank else 0.0)
                rows.append((number, part.last, -1, item.kind))
                levels.append(np.where(scheme.asking, asked, -np.inf))
    return (
        np.array([row[2] for row in rows], dtype=np.intp),
        np.array([row[1] for row in rows], dtype=np.intp),
        Checks(
            np.array([row[0] for row in rows], dtype=np.intp),
            np.array([_fraction(scheme, parts[row[0]], row[1]) for row in rows]),
            np.array(levels).T if levels else np.empty((len(scheme.flow_m3_s), 0)),
            tuple(row[3] for row in rows),
        ),
    )


def _fraction(scheme: Scheme, part: _Part, point: int) -> float:
    distance = scheme.distance_m[part.pipe]
    first, last = distance[part.first], distance[part.last]
    return float((distance[point] - first) / (last - first))


def _ground_asked(scheme: Scheme, part: _Part, still_m: float, margin_m: float) -> FloatArray:
    """Return the level that water must keep over each point of a pipe [m], -inf where none."""
    ground, distance = scheme.ground_m[part.pipe], scheme.distance_m[part.pipe]
    clearance = scheme.clearance_m[part.pipe]
    if part.level_m is None and part.parent >= 0:
        return np.asarray(ground + np.maximum(clearance, margin_m))
    way = distance - distance[part.first]
    return level_asked_m(way, ground, still_m, margin_m, clearance)


def _binding(distance: FloatArray, level: FloatArray, first: int, last: int) -> list[int]:
    """Return the points that decide whether a falling straight line clears all of a stretch.

    The line clears every point if it clears the corners of their upper hull; since it falls, the
    corners before the highest are cleared with that one.
    """
    points = np.flatnonzero(np.isfinite(level[first : last + 1])) + first
    if not points.size:
        return []
    highest = level[points].max()
    points = points[np.flatnonzero(level[points] == highest)[-1] :]
    hull: list[int] = []
    for point in points.tolist():
        while len(hull) > 1 and _below(distance, level, hull[-2], hull[-1], point):
            hull.pop()
        hull.append(point)
    return hull


def _below(distance: FloatArray, level: FloatArray, one: int, middle: int, two: int) -> bool:
    """Say whether the middle point lies on or below the straight line between the others."""
    rise = (level[two] - level[one]) * (distance[middle] - distance[one])
    return bool((level[middle] - level[one]) * (distance[two] - distance[one]) <= rise)
