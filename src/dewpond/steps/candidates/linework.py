"""Fence lines gathered one after the other, and the joints where one meets another.

A joint is remembered with its exact coordinates and its place along the line; lines are cut at
their joints only at the end, so that every piece that meets there ends at the same numbers.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import shapely
from shapely.ops import substring

from dewpond.base.surface import FloatArray

# Two joints closer than this are one: far above rounding, far below any survey [m].
_SAME_PLACE_M = 1e-6


@dataclass(eq=False)
class Linework:
    """The lines so far, each with the paddock it came from and the joints along it."""

    lines: list[shapely.LineString] = field(default_factory=list)
    owners: list[int] = field(default_factory=list)
    nodes: list[tuple[float, float]] = field(default_factory=list)
    joints: list[dict[float, int]] = field(default_factory=list)

    def add(self, line: shapely.LineString, owner: int) -> None:
        """Add a line; the ends of an open one become nodes."""
        self.lines.append(line)
        self.owners.append(owner)
        self.joints.append({})
        if not line.is_closed:
            for end in (line.coords[0], line.coords[-1]):
                if end not in self.nodes:
                    self.nodes.append((float(end[0]), float(end[1])))

    def node_near(self, point: shapely.Point, within_m: float) -> tuple[float, float] | None:
        """Return the nearest node within a distance of a point, if there is one."""
        if not self.nodes:
            return None
        offsets = np.asarray(self.nodes) - (point.x, point.y)
        distances = np.hypot(offsets[:, 0], offsets[:, 1])
        nearest = int(distances.argmin())
        return self.nodes[nearest] if distances[nearest] <= within_m else None

    def join(self, index: int, measure_m: float) -> tuple[float, float]:
        """Make a node on a line and return its coordinates."""
        point = self.lines[index].interpolate(measure_m)
        self._mark(index, measure_m, (point.x, point.y))
        return (point.x, point.y)

    def join_crossings(self) -> None:
        """Make a node wherever two lines touch or cross without one (rings that touch, say)."""
        tree = shapely.STRtree(self.lines)
        first, second = tree.query(self.lines, predicate="intersects")
        for a, b in zip(first[first < second], second[first < second], strict=True):
            shared = shapely.intersection(self.lines[a], self.lines[b])
            for x, y in shapely.get_coordinates(shared):
                self._join_both(int(a), int(b), float(x), float(y))

    def pieces(self) -> tuple[list[shapely.LineString], list[int]]:
        """Return the lines cut at their joints, and the paddock each came from."""
        pieces: list[shapely.LineString] = []
        owners: list[int] = []
        for line, owner, joints in zip(self.lines, self.owners, self.joints, strict=True):
            cut = _cut(line, [(m, self.nodes[joints[m]]) for m in sorted(joints)])
            pieces.extend(cut)
            owners.extend([owner] * len(cut))
        return pieces, owners

    def _join_both(self, a: int, b: int, x: float, y: float) -> None:
        point = shapely.Point(x, y)
        node = self.node_near(point, _SAME_PLACE_M) or (x, y)
        for index in (a, b):
            self._mark(index, self.lines[index].project(point), node)

    def _mark(self, index: int, measure_m: float, node: tuple[float, float]) -> None:
        line = self.lines[index]
        measure_m = 0.0 if line.is_closed and measure_m >= line.length else float(measure_m)
        if not line.is_closed and not _SAME_PLACE_M < measure_m < line.length - _SAME_PLACE_M:
            return
        if any(abs(measure_m - known) <= _SAME_PLACE_M for known in self.joints[index]):
            return
        if node not in self.nodes:
            self.nodes.append(node)
        self.joints[index][measure_m] = self.nodes.index(node)


def stretch(line: shapely.LineString, start_m: float, stop_m: float) -> FloatArray:
    """Return the vertices between two distances along a line; a ring may be passed its end."""
    length = line.length
    if line.is_closed and stop_m > length:
        if start_m >= length:
            return stretch(line, start_m - length, stop_m - length)
        before = _vertices(line, start_m, length)
        return _drop_repeats(np.vstack([before, _vertices(line, 0.0, stop_m - length)]))
    return _vertices(line, start_m, stop_m)


def _vertices(line: shapely.LineString, start_m: float, stop_m: float) -> FloatArray:
    coordinates: FloatArray = shapely.get_coordinates(substring(line, start_m, stop_m))
    return coordinates


def _drop_repeats(coordinates: npt.NDArray[np.float64]) -> FloatArray:
    keep = np.r_[True, np.any(np.diff(coordinates, axis=0) != 0, axis=1)]
    return coordinates[keep]


def _cut(
    line: shapely.LineString, joints: list[tuple[float, tuple[float, float]]]
) -> list[shapely.LineString]:
    if not joints:
        return [line]
    if line.is_closed:
        first = joints[0]
        marks = [*joints, (first[0] + line.length, first[1])]
    else:
        ends = (line.coords[0], line.coords[-1])
        marks = [(0.0, ends[0]), *joints, (line.length, ends[1])]
    pieces = []
    for (start_m, start), (stop_m, stop) in itertools.pairwise(marks):
        coordinates = stretch(line, start_m, stop_m)
        if len(coordinates) < 2 or (start == stop and stop_m - start_m <= _SAME_PLACE_M):
            continue
        coordinates[0], coordinates[-1] = start, stop
        pieces.append(shapely.LineString(coordinates))
    return pieces
