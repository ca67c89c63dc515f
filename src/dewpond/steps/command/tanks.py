"""Places from which a tank would command chosen paddocks: the lowest, the nearest, and others.

All pairs of place and ground would be too many to follow. But no way loses less than the straight
line on the level, so most places are struck out without following any; the rest are tried from
the lowest up, and one that is no nearer than a lower one that serves is not tried at all. Where
more places are wanted than come out so, the lowest well apart from them follow.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt
import shapely

from dewpond.base.progress import Progress
from dewpond.base.surface import FloatArray, Grid
from dewpond.steps.command.paddocks import ranked
from dewpond.steps.command.ways import Doubt, Grade, Ways, follow_ways

IntArray = npt.NDArray[np.intp]
BoolArray = npt.NDArray[np.bool_]

_DECIMALS = 3  # places equal to the millimetre are taken as equal; the first, row by row, stands
_TOGETHER = 24
APART_M = 100.0
"""Between a place and another worth naming beside it [m]; common practice, no source."""
_BLOCK_PAIRS = 4_000_000


@dataclass(frozen=True, eq=False)
class TankSearch:
    """What is searched for.

    Attributes
    ----------
    ground : Grid
        Heights [m].
    places : array of float, shape (p, 2)
        Where a tank may stand.
    place_level_m : array of float, shape (p,)
        Level of the water in a tank there [m].
    targets : array of float, shape (t, 2)
        Ground of the chosen paddocks.
    target_level_m : array of float, shape (t,)
        Its height [m].
    owner : array of int, shape (t,)
        Paddock of each target, 0 to k-1, ascending.
    centres : array of float, shape (k, 2)
        A point in each paddock, to which the length of pipe is reckoned.
    grade : Grade
    margin_m : float
        Head to spare that a place must leave [m].
    share : float
        Share of the ground of each paddock that must be served.
    """

    ground: Grid
    places: FloatArray
    place_level_m: FloatArray
    targets: FloatArray
    target_level_m: FloatArray
    owner: IntArray
    centres: FloatArray
    grade: Grade
    margin_m: float
    share: float

    def weakest(self, values: FloatArray) -> FloatArray:
        """Return what the share of the paddock served worst has at least.

        Parameters
        ----------
        values : array of float, shape (n, t)
            Head to spare, or chance, of each target from each of n places.
        """
        edges = np.searchsorted(self.owner, np.arange(len(self.centres) + 1))
        found = [ranked(values[:, first:last], self.share) for first, last in pairwise(edges)]
        return np.asarray(np.min(found, axis=0))


@dataclass(frozen=True, eq=False)
class TankPlaces:
    """Places that command every paddock.

    Attributes
    ----------
    place : array of int, shape (n,)
        Positions in `TankSearch.places`: first the front, of which none is both higher and
        farther than another, lowest first; then the lowest at least 100 m from those before.
    front : int
        How many of them are on the front.
    pipe_m : array of float, shape (n,)
        Shortest tree of straight lines that joins the place with every centre [m].
    lacking_m : float
        At least by how much every place stands too low; 0 where there is one that commands all,
        inf where there is no place at all, NaN where places are high enough and ground on the
        way is not.
    """

    place: IntArray
    front: int
    pipe_m: FloatArray
    lacking_m: float


def search_tanks(
    search: TankSearch, others: int = 0, progress: Progress | None = None
) -> TankPlaces:
    """Return the front of level against length of pipe, and so many others at most."""
    nothing = np.empty(0, dtype=np.intp)
    known = np.flatnonzero(np.isfinite(search.place_level_m))
    if not known.size or not len(search.targets):
        return TankPlaces(nothing, 0, np.empty(0), float("inf"))
    most_m = _most_spare_m(search, known)
    hopeful = known[most_m >= search.margin_m]
    if not hopeful.size:
        return TankPlaces(nothing, 0, np.empty(0), search.margin_m - float(most_m.max()))
    tree_m = tree_lengths_m(search.places[hopeful], search.centres).round(_DECIMALS)
    level_m = search.place_level_m[hopeful].round(_DECIMALS)
    order = np.lexsort((tree_m, level_m))
    hopeful, tree_m = hopeful[order], tree_m[order]
    front = _front(search, hopeful, tree_m, progress)
    found = np.concatenate([front, _others(search, hopeful, front, others)])
    lacking_m = 0.0 if front.size else float("nan")
    return TankPlaces(hopeful[found], front.size, tree_m[found], lacking_m)


def ways_from(search: TankSearch, places: IntArray, doubt: Doubt | None = None) -> Ways:
    """Follow the ways from some places to every target; figures of shape (places x targets,)."""
    count = len(search.targets)
    level = np.repeat(search.place_level_m[places], count)
    return follow_ways(
        search.ground, np.repeat(search.places[places], count, axis=0),
        np.tile(search.targets, (places.size, 1)), level, level, search.grade, doubt,
    )  # fmt: skip


def tree_lengths_m(places: FloatArray, points: FloatArray) -> FloatArray:
    """Return the length of the shortest tree of straight lines that joins each place with points.

    Prim's rule, all places at once.

    Parameters
    ----------
    places : array of float, shape (p, 2)
    points : array of float, shape (k, 2)

    Returns
    -------
    array of float, shape (p,)
    """
    apart = np.hypot(*(points[:, None, :] - points[None, :, :]).transpose(2, 0, 1))
    near = np.hypot(*(places[:, None, :] - points[None, :, :]).transpose(2, 0, 1))
    total, rows = np.zeros(len(places)), np.arange(len(places))
    for _ in range(len(points)):
        joined = near.argmin(axis=1)
        total += near[rows, joined]
        near = np.where(np.isinf(near), np.inf, np.minimum(near, apart[joined]))
        near[rows, joined] = np.inf
    return total


def _most_spare_m(search: TankSearch, places: IntArray) -> FloatArray:
    """Return the most head to spare that each place could leave, whatever lies on the way."""
    grade = search.grade
    wanted = search.target_level_m + grade.head_m + grade.fittings_loss_m
    fall = grade.loss_per_m * grade.length_factor
    found = np.empty(places.size)
    block = max(1, _BLOCK_PAIRS // len(search.targets))
    for first in range(0, places.size, block):
        part = places[first : first + block]
        east = search.places[part, 0][:, None] - search.targets[:, 0]
        north = search.places[part, 1][:, None] - search.targets[:, 1]
        most = search.place_level_m[part][:, None] - wanted - fall * np.hypot(east, north)
        found[first : first + block] = search.weakest(most)
    return found


def _front(
    search: TankSearch, places: IntArray, pipe_m: FloatArray, progress: Progress | None
) -> IntArray:
    """Return which of some places, sorted by level and pipe, are on the front."""
    front: list[int] = []
    nearest_m, at = np.inf, 0
    while at < places.size:
        ahead = at + np.flatnonzero(pipe_m[at:] < nearest_m)
        batch = ahead[:_TOGETHER]
        if not batch.size:
            break
        for i in batch[_serve(search, places[batch])].tolist():
            if pipe_m[i] < nearest_m:
                front.append(i)
                nearest_m = float(pipe_m[i])
        at = int(batch[-1]) + 1
        if progress is not None:
            progress(at / places.size)
    return np.array(front, dtype=np.intp)


def _others(search: TankSearch, places: IntArray, front: IntArray, wanted: int) -> IntArray:
    """Return the lowest of some places, sorted by level, well apart from the front and another."""
    found = front.tolist()
    left = np.arange(places.size)
    while front.size and len(found) < front.size + wanted:
        named = search.places[places[found]]
        spots = search.places[places[left]]
        away = np.hypot(*(spots[:, None, :] - named[None, :, :]).transpose(2, 0, 1)).min(axis=1)
        left = left[away >= APART_M]
        if not left.size:
            break
        batch = left[:_TOGETHER]
        serves = np.flatnonzero(_serve(search, places[batch]))
        if serves.size:
            found.append(int(batch[serves[0]]))
        left = left[serves[0] + 1 :] if serves.size else left[_TOGETHER:]
    return np.array(found[front.size :], dtype=np.intp)


def _serve(search: TankSearch, places: IntArray) -> BoolArray:
    """Say which places serve the share wanted of every paddock, with the margin."""
    spare = ways_from(search, places).spare_m.reshape(places.size, -1)
    spare = np.where(np.isnan(spare), -np.inf, spare)
    return np.asarray(search.weakest(spare) >= search.margin_m)


def spread(count: int, wanted: int) -> Sequence[int]:
    """Return positions of at most so many of a front: both ends, and evenly between.

    >>> spread(10, 4)
    [0, 3, 6, 9]
    """
    if count <= wanted:
        return list(range(count))
    if wanted == 1:
        return [0]
    return sorted({round(i * (count - 1) / (wanted - 1)) for i in range(wanted)})


def near_paddocks(
    centres: FloatArray,
    chosen: Sequence[shapely.Geometry],
    reach_m: float,
    barred: Sequence[shapely.Geometry],
) -> BoolArray:
    """Say which places lie within reach of the chosen paddocks and on no barred ground."""
    points = shapely.points(centres)
    near = np.zeros(len(centres), dtype=bool)
    tree = shapely.STRtree(list(chosen))
    near[tree.query(points, predicate="dwithin", distance=reach_m)[0]] = True
    if len(barred):
        near[shapely.STRtree(list(barred)).query(points, predicate="intersects")[0]] = False
    return near
