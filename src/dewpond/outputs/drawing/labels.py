"""Where lettering goes on a map: several places tried, the least bad free one taken.

All in map units: text of a known size in points is so many metres wide at the map's scale.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import shapely
import shapely.ops

from dewpond.base.surface import FloatArray

_GRID = 9
"""Places tried inside a polygon, along each side of its bounding box."""
_DIRECTIONS = 16
_OUTSIDE_COST, _LINE_COST, _AWAY_COST = 4.0, 1.5, 0.6
_CROSSING_COST = 0.15
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
        self._tree: shapely.STRtree | None = None
        shapely.prepare(self._frame)

    def take(self, shape: shapely.Geometry) -> None:
        """Mark a shape as taken."""
        self._taken.append(shape)
        self._tree = None

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
        if strict and width_m * height_m > polygon.area:
            return None
        middle = middle_of(polygon)
        west, south, east, north = polygon.bounds
        x, y = np.meshgrid(
            np.linspace(west, east, _GRID + 2), np.linspace(south, north, _GRID + 2)
        )
        at_x, at_y = np.append(middle.x, x.ravel()), np.append(middle.y, y.ravel())
        boxes = _boxes(at_x, at_y, width_m, height_m)
        shapely.prepare(polygon)
        inside = shapely.covered_by(boxes, polygon)
        # The cost of a place is worked out only for those that are free.
        free = self._free(boxes) & (inside | (not strict))
        at_x, at_y, boxes, inside = at_x[free], at_y[free], boxes[free], inside[free]
        outside = np.zeros(len(boxes))
        inside_m2 = shapely.area(shapely.intersection(boxes[~inside], polygon))
        outside[~inside] = 1 - inside_m2 / (width_m * height_m)
        away = np.hypot(at_x - middle.x, at_y - middle.y) / polygon.area**0.5
        cost = _OUTSIDE_COST * outside + _AWAY_COST * away + self._line_cost(boxes, width_m)
        return self._settle(boxes, at_x, at_y, cost)

    def by_point(
        self,
        x: float,
        y: float,
        width_m: float,
        height_m: float,
        clear_m: float,
        gaps: Sequence[float] = (1.0, 2.0, 3.5),
    ) -> tuple[float, float] | None:
        """Take a box beside a point: right, left, above, below, then the corners and farther.

        ``gaps`` tells how far off to try, in multiples of ``clear_m``.
        """
        offsets = _around(width_m, height_m, [clear_m * gap for gap in gaps])
        at_x, at_y = x + offsets[:, 0], y + offsets[:, 1]
        boxes = _boxes(at_x, at_y, width_m, height_m)
        rank = np.arange(len(offsets)) * 0.1
        free = self._free(boxes)
        at_x, at_y, boxes, rank = at_x[free], at_y[free], boxes[free], rank[free]
        return self._settle(boxes, at_x, at_y, rank + self._line_cost(boxes, width_m))

    def with_leader(
        self,
        x: float,
        y: float,
        width_m: float,
        height_m: float,
        gaps_m: Sequence[float],
        clear_m: float = 0.0,
    ) -> tuple[tuple[float, float], shapely.LineString] | None:
        """Take a box off a point, and the straight line that leads to it.

        Neither the box nor its line touches anything taken; a line over few others is preferred,
        then a short one.

        Parameters
        ----------
        x, y : float
            The point that is named.
        width_m, height_m : float
        gaps_m : sequence of float
            How far off to try.
        clear_m : float
            How far from the point the line starts, at the edge of its symbol.

        Returns
        -------
        ((float, float), LineString) or None
            Centre of the box, and the line that leads to its edge.
        """
        at_x, at_y = _rings(x, y, width_m, height_m, gaps_m)
        boxes = _boxes(at_x, at_y, width_m, height_m)
        end = np.column_stack(
            [
                np.clip(x, at_x - width_m / 2, at_x + width_m / 2),
                np.clip(y, at_y - height_m / 2, at_y + height_m / 2),
            ]
        )
        way = end - [x, y]
        start = [x, y] + way * (clear_m / np.hypot(*way.T))[:, None]
        leaders = shapely.linestrings(np.stack([start, end], axis=1))
        free = self._free(boxes) & self._open(leaders)
        at_x, at_y, boxes, leaders = at_x[free], at_y[free], boxes[free], leaders[free]
        if not len(boxes):
            return None
        crossed = np.bincount(
            self._pieces.query(leaders, predicate="intersects")[0], minlength=len(leaders)
        )
        away = shapely.length(leaders) / max(gaps_m)
        cost = away + _CROSSING_COST * crossed + self._line_cost(boxes, width_m)
        found = self._settle(boxes, at_x, at_y, cost)
        if found is None:
            return None
        leader = leaders[int(np.argmin(cost))]
        self.take(leader)
        return found, leader

    def first_free(
        self, x: FloatArray, y: FloatArray, width_m: float, height_m: float
    ) -> tuple[float, float] | None:
        """Take the first box, in the order given, that touches nothing taken and no line."""
        boxes = _boxes(x, y, width_m, height_m)
        free = self._free(boxes)
        free[self._pieces.query(boxes, predicate="intersects")[0]] = False
        return self._settle(boxes[free], x[free], y[free], np.arange(free.sum()) / max(len(x), 1))

    def _line_cost(self, boxes: FloatArray, width_m: float) -> FloatArray:
        box, piece = self._pieces.query(boxes, predicate="intersects")
        covered = _length_inside(
            shapely.get_coordinates(self._pieces.geometries[piece]).reshape(-1, 2, 2),
            shapely.bounds(boxes[box]),
        )
        return np.asarray(
            _LINE_COST * np.bincount(box, covered, minlength=len(boxes)) / width_m, dtype=float
        )

    def _free(self, boxes: FloatArray) -> npt.NDArray[np.bool_]:
        """Say which boxes lie in the frame and touch nothing taken."""
        free = np.asarray(shapely.covered_by(boxes, self._frame), dtype=bool)
        free[self._index().query(boxes, predicate="intersects")[0]] = False
        return free

    def _open(self, leaders: FloatArray) -> npt.NDArray[np.bool_]:
        """Say which lines cross nothing taken."""
        is_open = np.ones(len(leaders), dtype=bool)
        is_open[self._index().query(leaders, predicate="intersects")[0]] = False
        return is_open

    def _index(self) -> shapely.STRtree:
        if self._tree is None:
            self._tree = shapely.STRtree(self._taken)
        return self._tree

    def _settle(
        self, boxes: FloatArray, x: FloatArray, y: FloatArray, cost: FloatArray
    ) -> tuple[float, float] | None:
        """Take the cheapest of some free boxes; None when even that is not worth it."""
        best = int(np.argmin(cost)) if len(cost) else -1
        if best < 0 or not cost[best] < _NOT_WORTH_IT:
            return None
        self.take(boxes[best])
        return float(x[best]), float(y[best])


def middle_of(polygon: shapely.Polygon) -> shapely.Point:
    """Return the point of a polygon farthest from its edge, where a name stands best."""
    return shapely.ops.polylabel(polygon, max(polygon.area**0.5 / 50, 0.01))


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


def _around(width_m: float, height_m: float, gaps_m: Sequence[float]) -> FloatArray:
    """Return offsets of a box's centre from the point it names, best first."""
    places: list[Sequence[float]] = []
    for gap in gaps_m:
        across, up = width_m / 2 + gap, height_m / 2 + gap
        corner_x, corner_y = width_m / 2 + gap * 0.7, height_m / 2 + gap * 0.7
        places += [
            (across, 0), (-across, 0), (0, up), (0, -up),
            (corner_x, corner_y), (corner_x, -corner_y),
            (-corner_x, corner_y), (-corner_x, -corner_y),
        ]  # fmt: skip
    return np.array(places, dtype=float)


def _rings(
    x: float, y: float, width_m: float, height_m: float, gaps_m: Sequence[float]
) -> tuple[FloatArray, FloatArray]:
    """Return centres of boxes all round a point, in rings from the nearest to the farthest."""
    turn = np.linspace(0, 2 * np.pi, _DIRECTIONS, endpoint=False)
    gap = np.repeat(np.asarray(gaps_m, dtype=float), _DIRECTIONS)
    turn = np.tile(turn, len(gaps_m))
    return x + np.cos(turn) * (gap + width_m / 2), y + np.sin(turn) * (gap + height_m / 2)
