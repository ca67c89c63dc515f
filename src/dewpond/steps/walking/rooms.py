"""Walks inside one connected piece of a paddock, from all its drinking points to all its cells."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from functools import cache

import numpy as np

from dewpond.base.gridgraph import BoolArray, FloatArray
from dewpond.steps.walking.broken import (
    BrokenGround,
    Layout,
    lay_broken_ground,
    walk_broken_ground,
)
from dewpond.steps.walking.ground import Costs
from dewpond.steps.walking.routes import (
    SAMPLE,
    Beyond,
    Room,
    cells_beyond,
    corner_costs,
    lower_round_corners,
    shorten_round_corners,
    start_from,
    straight_costs,
)

GROUND_TOLERANCE = 0.01
"""Share by which the way shortest in plan may miss the best one before the grid is searched."""

GROUND_TOLERANCE_CELLS = 0.1
"""The same for the shortest ways [cells]."""

STARTS_TOGETHER = 16
"""Starts whose answers are held in memory at one time."""

Spread = Callable[
    [Callable[[int], tuple[Costs, bool]], Iterable[int]], Iterable[tuple[Costs, bool]]
]


def walk_room(
    room: Room, layout: Layout, places: FloatArray, limit_m: float, spread: Spread = map
) -> Iterator[Costs]:
    """Yield, place by place, the cost of the best way to every cell [m], infinite out of reach.

    The cost is that of `Ground`. Ways are the shortest in plan (straight, or taut round
    corners). Where the ground leaves room for one more than 1 % better, the grid graph is
    searched as well and the lower cost stands.

    Parameters
    ----------
    room : Room
    layout : Layout
    places : array of float, shape (s, 2)
        Places to walk from, in the polygon or on its boundary [m].
    limit_m : float
        Costs beyond this may be left infinite.
    spread : callable
        Does what ``map`` does, perhaps on several threads.
    """
    starts = [start_from(room, place, limit_m) for place in places]
    cost = corner_costs(room.link_cost, starts, [start.cost for start in starts], limit_m)
    plan = corner_costs(room.link_plan, starts, [start.plan for start in starts], limit_m)
    beyond = _fields(room, plan, limit_m)
    sampled = room.ground.heights_m(*room.points[:, ::SAMPLE])

    def taut(position: int) -> tuple[Costs, bool]:
        start = starts[position]
        cell, straight, length = straight_costs(room, start, limit_m)
        best = np.full(room.points.shape[1], np.inf, dtype=np.float32)
        best[cell] = straight
        lower_round_corners(best, cost[position], beyond, limit_m)
        if room.ground.level:
            return best, False
        shortest = np.full(sampled.shape, np.inf, dtype=np.float32)
        sample = cell % SAMPLE == 0
        shortest[cell[sample] // SAMPLE] = length[sample]
        shorten_round_corners(shortest, plan[position], beyond, limit_m)
        rise = sampled - room.ground.heights_m(start.at[:1], start.at[1:])
        return best, _may_be_bettered(room, best[::SAMPLE], shortest, rise, limit_m)

    @cache
    def broken() -> BrokenGround:
        return lay_broken_ground(room, layout, starts)

    for first in range(0, len(starts), STARTS_TOGETHER):
        chunk = range(first, min(first + STARTS_TOGETHER, len(starts)))
        found = list(spread(taut, chunk))
        doubtful = np.array([at for at, (_, doubt) in zip(chunk, found, strict=True) if doubt])
        if doubtful.size:
            ground = broken()
            for at, cells, corners in walk_broken_ground(ground, doubtful, limit_m):
                best = found[at - first][0]
                best[ground.cells] = np.minimum(best[ground.cells], cells.astype(np.float32))
                lower_round_corners(best, corners, beyond, limit_m)
        yield from (best for best, _ in found)


def _fields(room: Room, plan: FloatArray, limit_m: float) -> list[Beyond]:
    """Cells beyond every corner that some start reaches."""
    if plan.shape[1] == 0:
        return []
    nearest = plan.min(axis=0, initial=np.inf)
    return [
        field
        for corner in np.flatnonzero(nearest < limit_m)
        for field in cells_beyond(room, int(corner), limit_m - float(nearest[corner]))
    ]


def _may_be_bettered(
    room: Room, best: Costs, shortest: Costs, rise: FloatArray, limit_m: float
) -> bool:
    """Whether some cell could be within the limit by a way notably better than the one found."""
    cells = np.flatnonzero(shortest <= limit_m)
    least = room.ground.least_possible_m(shortest[cells], rise[cells])
    slack = np.maximum(GROUND_TOLERANCE * least, GROUND_TOLERANCE_CELLS * room.ground.cell_m)
    doubtful: BoolArray = (least <= limit_m) & (best[cells] > least + slack)
    return bool(doubtful.any())
