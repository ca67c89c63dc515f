"""What can be seen from a point inside a polygon, exactly, by sweeping its walls by direction.

Directions are ordered by a `bearing` that rises with the angle but needs no trigonometry.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from dewpond.base.gridgraph import BoolArray, FloatArray, IntArray

TOUCH_M = 1e-5
"""A wall this near to the viewpoint is stood upon and hides nothing."""

END_ON_M = 1e-9
"""A wall whose line passes this near to the viewpoint is seen end on, and hides nothing itself."""


@dataclass(frozen=True, eq=False)
class Walls:
    """The boundary of one polygon as directed segments with the interior on their left.

    Attributes
    ----------
    start, end : arrays of float, shape (e, 2)
        Ends of the segments [m].
    """

    start: FloatArray
    end: FloatArray


@dataclass(frozen=True, eq=False)
class View:
    """The star-shaped region seen from a viewpoint.

    Attributes
    ----------
    viewpoint : array of float, shape (2,)
    breaks : array of float, shape (k,)
        Ascending bearings at which the nearest wall changes.
    nearest : array of int, shape (k,)
        Wall seen between each break and the next (the last wraps round), -1 where there is none.
    walls : Walls
    """

    viewpoint: FloatArray
    breaks: FloatArray
    nearest: IntArray
    walls: Walls

    def sees(self, offset: FloatArray, towards: FloatArray) -> BoolArray:
        """Say which points lie in view.

        Parameters
        ----------
        offset : array of float, shape (2, n)
            Points relative to the viewpoint [m], inside the polygon.
        towards : array of float, shape (n,)
            Their bearings.
        """
        if self.breaks.size == 0:
            return np.ones(towards.shape, dtype=bool)
        sector = np.searchsorted(self.breaks, towards, side="right") - 1
        a, b, c = self._sector_lines()
        clear = a[sector]
        clear *= offset[0]
        part = b[sector]
        part *= offset[1]
        clear += part
        clear += c[sector]
        return np.asarray(clear >= -1e-6)

    def _sector_lines(self) -> FloatArray:
        """Signed distance to the wall of each sector as (a, b, c) of a x + b y + c."""
        wall = np.maximum(self.nearest, 0)
        start = self.walls.start[wall] - self.viewpoint
        along = self.walls.end[wall] - self.walls.start[wall]
        along /= np.hypot(along[:, 0], along[:, 1])[:, None]
        offset = along[:, 1] * start[:, 0] - along[:, 0] * start[:, 1]
        lines = np.array([-along[:, 1], along[:, 0], offset])
        lines *= np.where(offset < 0, -1.0, 1.0)
        lines[:, self.nearest < 0] = np.array([[0.0], [0.0], [1.0]])
        return lines


def bearing(offset: FloatArray) -> FloatArray:
    """Return a number from -2 to 2 that rises with the angle of offsets, shape (2, n).

    It is the way along a square set on its corner rather than along a circle. Zero, for an
    offset of nothing, is as good as any.
    """
    along = np.abs(offset[0])
    along += np.abs(offset[1])
    along[along == 0.0] = 1.0
    np.divide(offset[1], along, out=along)
    return np.asarray(np.where(offset[0] >= 0, along, np.copysign(2.0, offset[1]) - along))


def direction(towards: FloatArray) -> FloatArray:
    """Return unit vectors, shape (2, n), that have given bearings (any whole turn of 4 away)."""
    turned = np.remainder(towards + 2.0, 4.0) - 2.0
    x = 1.0 - np.abs(turned)
    y = np.where(np.abs(turned) <= 1.0, turned, np.copysign(2.0, turned) - turned)
    return np.asarray(np.array([x, y]) / np.hypot(x, y))


def polygon_walls(polygon: shapely.Polygon) -> Walls:
    """Return the boundary of a polygon, outer ring and holes, interior on the left."""
    rings = shapely.get_rings(shapely.orient_polygons(polygon))
    coordinates, ring = shapely.get_coordinates(rings, return_index=True)
    joined = ring[:-1] == ring[1:]
    start, end = coordinates[:-1][joined], coordinates[1:][joined]
    long_enough = np.hypot(*(end - start).T) > 0.0
    return Walls(start[long_enough], end[long_enough])


def look_around(viewpoint: FloatArray, walls: Walls, radius_m: float) -> View:
    """Find the nearest wall in every direction within a radius.

    Between the directions of two neighbouring corners the nearest wall is the same throughout,
    because walls meet only at corners. Points in view beyond
    ``radius_m`` are not to be relied on.
    """
    start, end = walls.start - viewpoint, walls.end - viewpoint
    kept = _gap_and_reach(start, end, radius_m)
    start, end = start[kept], end[kept]
    sweep = start[:, 0] * end[:, 1] - start[:, 1] * end[:, 0]
    length = np.hypot(*(end - start).T)
    broadside = np.abs(sweep) > END_ON_M * length
    kept, start, end, sweep = (item[broadside] for item in (kept, start, end, sweep))
    towards_start, towards_end = bearing(start.T), bearing(end.T)
    low = np.where(sweep > 0, towards_start, towards_end)
    high = np.where(sweep > 0, towards_end, towards_start)
    breaks = np.unique(np.concatenate([low, high]))
    nearest = _nearest_walls(start, end, low, high, breaks)
    return View(viewpoint, breaks, np.where(nearest >= 0, kept[nearest], -1), walls)


def _gap_and_reach(start: FloatArray, end: FloatArray, radius_m: float) -> IntArray:
    """Positions of walls that are not stood upon and come within the radius."""
    along = end - start
    share = -(start * along).sum(axis=1) / (along**2).sum(axis=1)
    nearest = start + np.clip(share, 0.0, 1.0)[:, None] * along
    distance = np.hypot(nearest[:, 0], nearest[:, 1])
    return np.flatnonzero((distance > TOUCH_M) & (distance <= radius_m))


def _nearest_walls(
    start: FloatArray, end: FloatArray, low: FloatArray, high: FloatArray, breaks: FloatArray
) -> IntArray:
    """Position of the nearest wall from each break to the next, -1 where none."""
    count = breaks.size
    nearest = np.full(count, -1, dtype=np.intp)
    if count == 0:
        return nearest
    first = np.searchsorted(breaks, low)
    spans = (np.searchsorted(breaks, high) - first) % count
    wall = np.repeat(np.arange(low.size), spans)
    ahead = np.arange(wall.size) - np.repeat(np.cumsum(spans) - spans, spans)
    sector = (first[wall] + ahead) % count
    following = np.append(breaks[1:], breaks[0] + 4.0)
    x, y = direction((breaks + following) / 2)[:, sector]
    along = end[wall] - start[wall]
    top = start[wall, 0] * along[:, 1] - start[wall, 1] * along[:, 0]
    slant = x * along[:, 1] - y * along[:, 0]
    furthest = np.maximum(np.hypot(*start[wall].T), np.hypot(*end[wall].T))
    with np.errstate(divide="ignore"):  # a wall seen end on, in a sector as thin as rounding
        distance = np.clip(top / slant, 0.0, furthest)
    order = np.lexsort((distance, sector))
    seen, leading = np.unique(sector[order], return_index=True)
    nearest[seen] = wall[order][leading]
    return nearest
