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
    lines : sequence of shapely geometries
        Lines that lettering should not cover where it can be helped.
    """

    def __init__(self, frame: shapely.Polygon, lines: Sequence[shapely.Geometry]) -> None:
        self._frame = frame
        self._pieces = shapely.STRtree(_straight_pieces(lines))
        self._taken: list[shapely.Geometry] = []
        shapely.prepare(self._frame)

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
        shapely.prepare(polygon)
        outside = (~shapely.covered_by(boxes, polygon)).astype(float)
        if not strict and outside.any():
            out = outside > 0
            inside_m2 = shapely.area(shapely.intersection(boxes[out], polygon))
            outside[out] = 1 - inside_m2 / (width_m * height_m)
        away = np.hypot(at_x - middle.x, at_y - middle.y) / polygon.area**0.5
        cost = _OUTSIDE_COST * outside + _AWAY_COST * away + self._line_cost(boxes, width_m)
        if strict:
            cost[outside > 0] = np.inf
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
        cost[self._pieces.query(boxes, predicate="intersects")[0]] = np.inf
        return self._settle(boxes, x, y, cost)

    def _line_cost(self, boxes: FloatArray, width_m: float) -> FloatArray:
        box, piece = self._pieces.query(boxes, predicate="intersects")
        covered = _length_inside(
            shapely.get_coordinates(self._pieces.geometries[piece]).reshape(-1, 2, 2),
            shapely.bounds(boxes[box]),
        )
        return np.asarray(
            _LINE_COST * np.bincount(box, covered, minlength=len(boxes)) / width_m, dtype=float
        )

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


def _straight_pieces(lines: Sequence[shapely.Geometry]) -> FloatArray:
    """Return the straight pieces of lines, each once: an index finds the near ones quickly."""
    parts = shapely.get_parts(np.array(list(lines), dtype=object))
    points, line = shapely.get_coordinates(parts, return_index=True)
    follows = line[1:] == line[:-1]
    pairs = np.stack([points[:-1][follows], points[1:][follows]], axis=1)
    order = np.lexsort((pairs[..., 1], pairs[..., 0]), axis=1)
    pairs = np.unique(np.take_along_axis(pairs, order[..., None], axis=1), axis=0)
    return np.asarray(shapely.linestrings(pairs))


def _length_inside(pieces: FloatArray, boxes: FloatArray) -> FloatArray:
    """Return the length of each straight piece inside its upright box.

    Clipping by parameter, after Liang & Barsky, ACM Transactions on Graphics 3 (1984), 1-22
    (cited from memory); many times faster than a general overlay of two shapes.

    Parameters
    ----------
    pieces : array of float, shape (n, 2, 2)
        Ends of each piece, easting and northing.
    boxes : array of float, shape (n, 4)
        West, south, east, north.
    """
    start, way = pieces[:, 0], pieces[:, 1] - pieces[:, 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        one, other = (boxes[:, :2] - start) / way, (boxes[:, 2:] - start) / way
    # A piece along an axis never leaves the box across it: it was asked for as one that meets it.
    along = way == 0
    enters = np.where(along, 0.0, np.fmin(one, other)).max(axis=1, initial=0.0)
    leaves = np.where(along, 1.0, np.fmax(one, other)).min(axis=1, initial=1.0)
    return np.asarray(np.maximum(leaves - enters, 0.0) * np.hypot(*way.T), dtype=float)


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
