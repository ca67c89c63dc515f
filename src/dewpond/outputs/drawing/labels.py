"""Where lettering goes on a map: several places tried, the least bad free one taken.

All in map units: text of a known size in points is so many metres wide at the map's scale.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
import shapely.ops

from dewpond.base.surface import FloatArray

_GRID = 9
"""Places tried inside a polygon, along each side of its bounding box."""
_OUTSIDE_COST, _LINE_COST, _AWAY_COST = 4.0, 1.5, 0.6
_NOT_WORTH_IT = 2.5


class FreeSpace:
    """What is taken up on a map already: boxes that lettering may not touch, lines it may cross.

    Parameters
    ----------
    frame : shapely Polygon
        The map; nothing may stick out of it.
    lines : shapely geometry
        Lines that lettering should not cover where it can be helped.
    """

    def __init__(self, frame: shapely.Polygon, lines: shapely.Geometry) -> None:
        self._frame = frame
        self._lines = lines
        self._taken: list[shapely.Geometry] = []
        shapely.prepare([self._frame, self._lines])

    def take(self, shape: shapely.Geometry) -> None:
        """Mark a shape as taken."""
        self._taken.append(shape)

    def in_polygon(
        self, polygon: shapely.Geometry, width_m: float, height_m: float, *, strict: bool
    ) -> tuple[float, float] | None:
        """Take a box inside a polygon, near its middle; None when there is no room.

        Parameters
        ----------
        polygon : Polygon or MultiPolygon
            Of a multipolygon the largest part is labelled.
        width_m, height_m : float
        strict : bool
            Whether the box must lie wholly inside the polygon.

        Returns
        -------
        (float, float) or None
            Centre of the box.
        """
        polygon = max(shapely.get_parts(polygon), key=shapely.area)
        middle = shapely.ops.polylabel(polygon, max(polygon.area**0.5 / 50, 0.01))
        west, south, east, north = polygon.bounds
        x, y = np.meshgrid(
            np.linspace(west, east, _GRID + 2), np.linspace(south, north, _GRID + 2)
        )
        at_x, at_y = np.append(middle.x, x.ravel()), np.append(middle.y, y.ravel())
        boxes = _boxes(at_x, at_y, width_m, height_m)
        outside = 1 - shapely.area(shapely.intersection(boxes, polygon)) / (width_m * height_m)
        away = np.hypot(at_x - middle.x, at_y - middle.y) / polygon.area**0.5
        cost = _OUTSIDE_COST * outside + _AWAY_COST * away + self._line_cost(boxes, width_m)
        if strict:
            cost[outside > 1e-6] = np.inf
        return self._settle(boxes, at_x, at_y, cost)

    def by_point(
        self, x: float, y: float, width_m: float, height_m: float, clear_m: float
    ) -> tuple[float, float] | None:
        """Take a box beside a point: right, left, above, below, then the corners and farther."""
        offsets = _around(width_m, height_m, clear_m)
        at_x, at_y = x + offsets[:, 0], y + offsets[:, 1]
        boxes = _boxes(at_x, at_y, width_m, height_m)
        cost = np.arange(len(offsets)) * 0.1 + self._line_cost(boxes, width_m)
        return self._settle(boxes, at_x, at_y, cost)

    def first_free(
        self, x: FloatArray, y: FloatArray, width_m: float, height_m: float
    ) -> tuple[float, float] | None:
        """Take the first box, in the order given, that touches nothing taken and no line."""
        boxes = _boxes(x, y, width_m, height_m)
        cost = np.arange(len(x)) / max(len(x), 1)
        cost[shapely.intersects(boxes, self._lines)] = np.inf
        return self._settle(boxes, x, y, cost)

    def _line_cost(self, boxes: FloatArray, width_m: float) -> FloatArray:
        covered = shapely.length(shapely.intersection(boxes, self._lines))
        return np.asarray(_LINE_COST * covered / width_m, dtype=float)

    def _settle(
        self, boxes: FloatArray, x: FloatArray, y: FloatArray, cost: FloatArray
    ) -> tuple[float, float] | None:
        cost = np.where(shapely.covered_by(boxes, self._frame), cost, np.inf)
        if self._taken:
            tree = shapely.STRtree(self._taken)
            clashes = tree.query(boxes, predicate="intersects")[0]
            cost[clashes] = np.inf
        best = int(np.argmin(cost)) if len(cost) else -1
        if best < 0 or not cost[best] < _NOT_WORTH_IT:
            return None
        self.take(boxes[best])
        return float(x[best]), float(y[best])


def _boxes(x: FloatArray, y: FloatArray, width_m: float, height_m: float) -> FloatArray:
    return shapely.box(x - width_m / 2, y - height_m / 2, x + width_m / 2, y + height_m / 2)  # type: ignore[no-any-return]


def _around(width_m: float, height_m: float, clear_m: float) -> FloatArray:
    """Return offsets of a box's centre from the point it names, best first."""
    places: list[Sequence[float]] = []
    for gap in (clear_m, 2 * clear_m, 3.5 * clear_m):
        across, up = width_m / 2 + gap, height_m / 2 + gap
        corner_x, corner_y = width_m / 2 + gap * 0.7, height_m / 2 + gap * 0.7
        places += [
            (across, 0), (-across, 0), (0, up), (0, -up),
            (corner_x, corner_y), (corner_x, -corner_y),
            (-corner_x, corner_y), (-corner_x, -corner_y),
        ]  # fmt: skip
    return np.array(places, dtype=float)
