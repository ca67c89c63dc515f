"""Local high and low points that stand out, along a branching line of points."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.intp]
BoolArray = npt.NDArray[np.bool_]


# What follows is common practice, no source. The centimetres between neighbouring heights are
# noise, and the coarser the data the more of it: neighbours in open data differ from the truth by
# something like a tenth of the posting. A rise of two metres is marked whatever the data, for the
# air it may hold costs a gravity scheme dear.
_LEAST_PROMINENCE_M = 0.5
_PROMINENCE_PER_POSTING = 0.1
_GREATEST_PROMINENCE_M = 2.0


def least_prominence_m(posting_m: float) -> float:
    """Return how far a rise or a hollow must stand out to be told from noise in the heights [m].

    Half a metre up to a posting of 5 m, a tenth of the posting beyond, never more than 2 m.

    Parameters
    ----------
    posting_m : float
        Spacing of the elevation data [m].

    Examples
    --------
    >>> [least_prominence_m(posting_m) for posting_m in (1.0, 10.0, 50.0)]
    [0.5, 1.0, 2.0]
    """
    grown_m = max(_LEAST_PROMINENCE_M, _PROMINENCE_PER_POSTING * posting_m)
    return min(grown_m, _GREATEST_PROMINENCE_M)


def summits_of(before: IntArray, height: FloatArray, prominence: float) -> BoolArray:
    """Mark the points of a tree that stand out above their surroundings.

    The prominence of a point is how far one must go down from it, on the best way, to come to
    higher ground or to an end of the tree (a leaf or the root). On a tree without forks that is
    the prominence of `scipy.signal.find_peaks`. Of a level top the middle point is marked, of
    two equal tops the first; ends never are.

    Parameters
    ----------
    before : array of int, shape (n,)
        Position of the neighbour towards the root, -1 at the root; neighbours stand earlier.
    height : array of float, shape (n,)
        No NaN.
    prominence : float
        Least prominence to be marked, above zero, in the unit of the heights.

    Returns
    -------
    array of bool, shape (n,)
    """
    neighbours = _neighbours(before)
    inner = np.array([len(some) > 1 for some in neighbours], dtype=bool) & (before >= 0)
    tops = _prominent(neighbours, height, np.flatnonzero(~inner), prominence)
    marked = np.zeros(height.size, dtype=bool)
    for top in tops:
        marked[_middle_of_level(neighbours, height, inner, top)] = True
    return marked


def hollows_of(before: IntArray, height: FloatArray, prominence: float) -> BoolArray:
    """Mark the points of a tree that lie below their surroundings; as `summits_of`, inverted."""
    return summits_of(before, -height, prominence)


def _neighbours(before: IntArray) -> list[list[int]]:
    neighbours: list[list[int]] = [[] for _ in range(before.size)]
    for point, earlier in enumerate(before.tolist()):
        if earlier >= 0:
            neighbours[point].append(earlier)
            neighbours[earlier].append(point)
    return neighbours


def _prominent(
    neighbours: list[list[int]], height: FloatArray, ends: IntArray, prominence: float
) -> list[int]:
    """Flood the tree from above; a top is measured where its pool meets one with a higher top.

    Beyond each end stands a point higher than any top: air leaves, or water drains, there.
    """
    outside = range(height.size, height.size + ends.size)
    level = np.concatenate([height, np.full(ends.size, np.inf)])
    neighbours = [*neighbours, *([end] for end in ends.tolist())]
    for beyond, end in zip(outside, ends.tolist(), strict=True):
        neighbours[end] = [*neighbours[end], beyond]
    # Points of equal level in the order in which they stand, so the outcome is always the same.
    order = np.lexsort((np.arange(level.size), -level))
    top = np.full(level.size, -1, dtype=np.intp)
    parent = np.arange(level.size)

    def pool_of(point: int) -> int:
        while parent[point] != point:
            parent[point] = parent[parent[point]]
            point = int(parent[point])
        return point

    found = []
    for point in order.tolist():
        top[point] = point
        for other in neighbours[point]:
            if top[other] < 0:
                continue
            one, two = pool_of(point), pool_of(other)
            if (level[top[one]], -top[one]) < (level[top[two]], -top[two]):
                one, two = two, one
            if np.isfinite(level[top[two]]) and level[top[two]] - level[point] >= prominence:
                found.append(int(top[two]))
            parent[two] = one
    return found


def _middle_of_level(
    neighbours: list[list[int]], height: FloatArray, inner: BoolArray, top: int
) -> int:
    """Return the middle of the inner points as high as a top that hang together with it."""
    level, waiting = {top}, [top]
    while waiting:
        for other in neighbours[waiting.pop()]:
            same = height[other] == height[top] and inner[other]
            if same and other not in level:
                level.add(other)
                waiting.append(other)
    points = sorted(level)
    return points[(len(points) - 1) // 2]
