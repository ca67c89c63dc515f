"""Places for break tanks or reducing valves where static head outgrows the strongest class."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dewpond.base.surface import FloatArray


@dataclass(frozen=True)
class PressureBreak:
    """One place where the level is let down, or where it would have to be and cannot.

    Attributes
    ----------
    pipe, position : int
        Pipe, and point of its profile.
    kind : str
        "break tank"; "reducing valve" where a tank would stand too low for what lies beyond;
        "none" where even a valve cannot serve both the height and the hollow beyond it, or where
        the ground falls by more than the limit from one point to the next.
    level_before_m, level_m : float
        Level of still water before and after [m]; equal for "none".
    excess_m : float
        By how much the static head would pass the limit without it, at the lowest ground that
        lies beyond [m].
    """

    pipe: int
    position: int
    kind: str
    level_before_m: float
    level_m: float
    excess_m: float


def find_pressure_breaks(
    parent: Sequence[int] | npt.NDArray[np.intp],
    ground_level_m: Sequence[FloatArray],
    needed_level_m: Sequence[FloatArray],
    source_level_m: float,
    limit_m: float,
    tank_height_m: float = 1.0,
) -> tuple[tuple[PressureBreak, ...], tuple[FloatArray, ...]]:
    """Return where to let the level down along a tree, and the level that then stands everywhere.

    Parameters
    ----------
    parent : sequence of int, length pipes
        Pipe upstream, -1 at the source; a parent stands before its children.
    ground_level_m : sequence of arrays, one a pipe, each of shape (points,)
        Ground along each pipe in the direction of flow [m].
    needed_level_m : sequence of arrays of the same shapes
        Least total head wanted at each point [m]: ground with its margin, level of an outlet with
        its residual head, plus what flow may lose on the way.
    source_level_m : float
        Level of still water at the source [m].
    limit_m : float
        Highest static head that any pipe offered may carry, surge set aside [m].
    tank_height_m : float
        Water level of a break tank above the ground it stands on [m].

    Returns
    -------
    breaks : tuple of PressureBreak
        Outward from the source. Each stands on the pipe where the limit is first passed, as low
        as what lies beyond it allows, so that few are needed.
    levels_m : tuple of arrays
        Level of still water at each point; at a break, the level before it.
    """
    beyond_need, beyond_low = _beyond(parent, ground_level_m, needed_level_m)
    breaks: list[PressureBreak] = []
    levels: list[FloatArray] = []
    for pipe, ground in enumerate(ground_level_m):
        above = int(parent[pipe])
        level = source_level_m if above < 0 else float(levels[above][-1])
        standing = np.full(len(ground), level)
        begin = 0
        while (over := np.flatnonzero(standing[begin:] - ground[begin:] > limit_m + 1e-9)).size:
            first = begin + int(over[0])
            # Over the limit at its first point, a pipe can still be broken at the source only.
            before = slice(begin, first) if first > begin else slice(begin, int(begin == 0))
            place, kind, lowered = _one_break(
                ground[before] + tank_height_m,
                beyond_need[pipe][before],
                needed_level_m[pipe][before],
                float(ground[first]) + limit_m,
                beyond_low[pipe][before] + limit_m,
                float(standing[first]),
            )
            lowest = min(float(ground[first]), float(beyond_low[pipe][first]))
            excess = float(standing[first]) - lowest - limit_m
            breaks.append(
                PressureBreak(pipe, begin + place, kind, float(standing[first]), lowered, excess)
            )
            if kind == "none":
                break
            begin = begin + place + 1
            standing[begin:] = lowered
            if begin >= len(ground):
                break
        levels.append(standing)
    return tuple(breaks), tuple(levels)


def _beyond(
    parent: Sequence[int] | npt.NDArray[np.intp],
    ground: Sequence[FloatArray],
    needed: Sequence[FloatArray],
) -> tuple[list[FloatArray], list[FloatArray]]:
    """Return, at each point, the highest level needed and the lowest ground after it."""
    need_after = np.full(len(ground), -np.inf)
    low_after = np.full(len(ground), np.inf)
    highest: list[FloatArray] = [np.empty(0)] * len(ground)
    lowest: list[FloatArray] = [np.empty(0)] * len(ground)
    for pipe in range(len(ground) - 1, -1, -1):
        needs = np.append(needed[pipe], need_after[pipe])
        lows = np.append(ground[pipe], low_after[pipe])
        highest[pipe] = np.maximum.accumulate(needs[::-1])[::-1][1:]
        lowest[pipe] = np.minimum.accumulate(lows[::-1])[::-1][1:]
        above = int(parent[pipe])
        if above >= 0:
            need_after[above] = max(need_after[above], needs.max())
            low_after[above] = min(low_after[above], lows.min())
    return highest, lowest


def _one_break(
    tank_level: FloatArray,
    need_after: FloatArray,
    need_here: FloatArray,
    ceiling: float,
    no_more_breaks: FloatArray,
    level: float,
) -> tuple[int, str, float]:
    """Return place, kind and new level for one break among the points before the limit is passed.

    The lowest tank that still serves what lies beyond comes first; else a valve at the last
    point, set as high as the hollows beyond allow, or as low as the heights beyond need.
    """
    if not len(tank_level):
        return 0, "none", level
    fits = (tank_level >= need_after) & (tank_level <= min(ceiling, level))
    if fits.any():
        places = np.flatnonzero(fits)
        lowest = tank_level[places].min()
        place = int(places[tank_level[places] <= lowest][-1])
        return place, "break tank", float(tank_level[place])
    place = len(tank_level) - 1
    need = max(float(need_after[place]), float(need_here[place]))
    setting = min(level, ceiling, max(need, float(no_more_breaks[place])))
    if setting < need:
        return place, "none", level
    return place, "reducing valve", setting
