"""Fence lines once each: neighbours' boundaries merged where they stand for one fence.

Polygon after polygon, in the order of the paddocks, the part of a boundary that runs within the
gap width of the lines already there is taken to be those lines; the rest is added, and its ends
are tied to them. The earlier line is kept as drawn, so nothing drifts, and the result turns and
shifts with the holding because no step looks at the axes.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely

from dewpond.base.surface import FloatArray
from dewpond.steps.candidates.between import GroundBetween
from dewpond.steps.candidates.linework import Linework, stretch
from dewpond.steps.candidates.tidy import drop_doubles, merge_junctions

# Boundaries drawn from one another still differ by rounding when their CRS is changed [m].
_LEAST_GAP_M = 0.01
# Widens the gap a hair, so that a double fence exactly that wide does not flicker [m].
_ROUNDING_M = 0.001
# A stray no longer than this many gaps, and no farther off than the next, is still the fence.
_STRAY_LENGTH_GAPS = 4.0
_STRAY_OFFSET_GAPS = 1.5
# Boundaries are compared with the lines at steps of a quarter of the gap, or this [m].
_LEAST_STEP_M = 0.25
# Beside one fence the nearest place on it keeps pace with the boundary; this much faster, and
# it may have gone over to another fence.
_LEAP_RATIO = 2.0
# Where along a fence its sides are looked for.
_PROBES = np.array([0.1, 0.3, 0.5, 0.7, 0.9])


def merge_fences(paddocks: gpd.GeoDataFrame, gap_width_m: float) -> gpd.GeoDataFrame:
    """Return the fence lines of paddocks once each, cut where three or more meet.

    Parameters
    ----------
    paddocks : GeoDataFrame
        Polygons or multipolygons, valid, row labels = paddock ids, in a CRS in metres.
    gap_width_m : float
        Boundaries no farther apart than this are one fence [m].

    Returns
    -------
    GeoDataFrame
        Columns ``paddocks`` (tuple of ids on either side, ascending) and ``geometry``
        (LineString in the direction of the boundary it was taken from; a ring where nothing
        joins it). Ends that meet are equal to the last digit.
    """
    gap_m = max(gap_width_m, _LEAST_GAP_M) + _ROUNDING_M
    work = Linework()
    between = GroundBetween(paddocks.geometry.to_numpy(), gap_m)
    parts = paddocks.geometry.explode()
    for label, polygon in zip(parts.index, parts.array, strict=True):
        _add_polygon(work, polygon, int(label), gap_m, between)
    lines, owners = _tidy(work, gap_m)
    sides = _sides(lines, owners, paddocks, gap_m, between)
    return gpd.GeoDataFrame({"paddocks": sides}, geometry=lines, crs=paddocks.crs)


def _tidy(work: Linework, gap_m: float) -> tuple[list[shapely.LineString], list[int]]:
    """Return the lines cut where they meet, near junctions made one, none drawn twice."""
    work.join_crossings()
    lines, owners = merge_junctions(*work.pieces(), gap_m)
    # A junction that moved may have drawn a line across another.
    again = Linework()
    for line, owner in zip(lines, owners, strict=True):
        again.add(line, owner)
    again.join_crossings()
    return drop_doubles(*again.pieces(), _STRAY_LENGTH_GAPS * gap_m, _STRAY_OFFSET_GAPS * gap_m)


def _add_polygon(
    work: Linework, polygon: shapely.Polygon, label: int, gap_m: float, between: GroundBetween
) -> None:
    rings = [shapely.LineString(ring.coords) for ring in (polygon.exterior, *polygon.interiors)]
    lines = np.asarray(work.lines, dtype=object)
    near = np.flatnonzero(shapely.dwithin(lines, polygon.boundary, gap_m))
    if near.size == 0:
        for ring in rings:
            work.add(ring, label)
        return
    tie = _Tie(work, near, gap_m, between)
    for ring in rings:
        for run in tie.new_runs(ring):
            work.add(run, label)


class _Tie:
    """Takes the new part of a ring beside lines already there, and ties its ends to them."""

    def __init__(
        self, work: Linework, near: Iterable[int], gap_m: float, between: GroundBetween
    ) -> None:
        self.work = work
        self.between = between
        self.near = [int(index) for index in near]
        self.gap_m = gap_m
        self.step_m = max(gap_m / 4, _LEAST_STEP_M)
        self.lines = shapely.MultiLineString([work.lines[index] for index in self.near])
        self.covered = shapely.buffer(self.lines, gap_m)
        self.touching = shapely.buffer(self.lines, gap_m / 20)
        shapely.prepare([self.lines, self.covered])

    def new_runs(self, ring: shapely.LineString) -> list[shapely.LineString]:
        """Return the parts of a ring that no line stands for yet, with their ends tied."""
        runs = [run for run in self._uncovered(ring) if not self._is_stray(ring, run)]
        if runs == [(0.0, ring.length)]:
            return [ring]
        tied = []
        for position, (start_m, stop_m) in enumerate(runs):
            before_m = runs[position - 1][1] - (ring.length if position == 0 else 0.0)
            after_m = runs[(position + 1) % len(runs)][0]
            after_m += ring.length if position == len(runs) - 1 else 0.0
            head = self._end(ring, start_m, before_m)
            tail = self._end(ring, stop_m, after_m)
            body = stretch(ring, start_m, stop_m)
            tied.append(_line([*head[::-1], *body, *tail]))
        return [line for line in tied if line is not None]

    def _uncovered(self, ring: shapely.LineString) -> list[tuple[float, float]]:
        """Return the stretches that no line stands for; the last may run past the ring's end."""
        measures = self._cuts(ring)
        stops = np.append(measures[1:], measures[0] + ring.length)
        middles = np.mod((measures + stops) / 2, ring.length)
        points = shapely.line_interpolate_point(ring, middles)
        new = ~shapely.intersects(self.covered, points)
        new |= self.between.is_grazed(self._ways_to_lines(points))
        new |= self._leaps(ring, measures, stops)
        if new.all():
            return [(0.0, ring.length)]
        starts = np.flatnonzero(new & ~np.roll(new, 1))
        ends = np.flatnonzero(new & ~np.roll(new, -1))
        if starts.size and ends[0] < starts[0]:
            ends = np.roll(ends, -1)
        return [
            _run(measures[a], stops[b], ring.length) for a, b in zip(starts, ends, strict=True)
        ]

    def _cuts(self, ring: shapely.LineString) -> FloatArray:
        """Return distances at which a ring may pass from a line that stands for it, or to one."""
        at_cover = shapely.get_coordinates(shapely.intersection(ring, self.covered.boundary))
        near = shapely.get_coordinates(
            shapely.segmentize(shapely.intersection(ring, self.covered), self.step_m)
        )
        measures: FloatArray = np.unique(line_measures(ring, np.vstack([at_cover, near])))
        return measures if measures.size else np.zeros(1)

    def _leaps(
        self, ring: shapely.LineString, starts_m: FloatArray, stops_m: FloatArray
    ) -> npt.NDArray[np.bool_]:
        """Tell where the nearest place on the lines leaps: from one fence to another, perhaps."""
        stations = np.mod(np.append(starts_m, stops_m[-1]), ring.length)
        feet = self._ways_to_lines(shapely.line_interpolate_point(ring, stations))[:, 1]
        moved = np.hypot(*np.diff(feet, axis=0).T)
        leaps: npt.NDArray[np.bool_] = moved > _LEAP_RATIO * (stops_m - starts_m) + _LEAST_GAP_M
        return leaps

    def _ways_to_lines(self, points: npt.NDArray[np.object_]) -> FloatArray:
        """Return the straight ways from points to the lines, shape (n, 2 ends, 2 coordinates)."""
        ways: FloatArray = shapely.get_coordinates(shapely.shortest_line(points, self.lines))
        return ways.reshape(-1, 2, 2)

    def _is_stray(self, ring: shapely.LineString, run: tuple[float, float]) -> bool:
        """Tell whether a short run only bulges from a line, and does not join two of them."""
        if run[1] - run[0] > _STRAY_LENGTH_GAPS * self.gap_m:
            return False
        vertices = stretch(ring, *run)
        points = shapely.points(vertices)
        offset_m = _STRAY_OFFSET_GAPS * self.gap_m
        if float(shapely.distance(self.lines, points).max()) > offset_m:
            return False
        region = shapely.buffer(shapely.LineString(vertices), offset_m)
        beside = shapely.get_parts(
            shapely.buffer(shapely.intersection(self.lines, region), _LEAST_GAP_M)
        )
        feet = shapely.points(self._ways_to_lines(points[[0, -1]])[:, 1])
        return bool(np.any(shapely.intersects(beside[:, None], feet[None, :]).all(axis=1)))

    def _end(
        self, ring: shapely.LineString, end_m: float, next_run_m: float
    ) -> list[tuple[float, float]]:
        """Return the vertices that lead from the end of a run to a node on the lines."""
        way = self._way_on(ring, end_m, next_run_m)
        foot_of = shapely.Point(way[-1])
        nearest = self._nearest(foot_of)
        line = self.work.lines[nearest]
        foot = line.interpolate(line.project(foot_of))
        node = self.work.node_near(foot, self.gap_m)
        if node is not None:
            return [node]
        return [*map(tuple, way[1:]), self.work.join(nearest, line.project(foot_of))]

    def _way_on(self, ring: shapely.LineString, end_m: float, next_run_m: float) -> FloatArray:
        """Return the ring from the end of a run to where it all but touches the lines.

        A fence that meets another slantwise is followed to the meeting place; one that swings
        alongside never touches, and is tied straight across.
        """
        reach_m = min(_STRAY_LENGTH_GAPS * self.gap_m, abs(next_run_m - end_m))
        if next_run_m >= end_m:
            way = stretch(ring, end_m % ring.length, end_m % ring.length + reach_m)
        else:
            start_m = (end_m - reach_m) % ring.length
            way = stretch(ring, start_m, start_m + reach_m)[::-1]
        if len(way) < 2:
            return way
        line = shapely.LineString(way)
        touch = shapely.get_coordinates(shapely.intersection(line, self.touching))
        if len(touch) == 0:
            return way[:1]
        return stretch(line, 0.0, float(line_measures(line, touch).min()))

    def _nearest(self, point: shapely.Point) -> int:
        distances = shapely.distance([self.work.lines[index] for index in self.near], point)
        return self.near[int(distances.argmin())]


def line_measures(line: shapely.LineString, coordinates: FloatArray) -> FloatArray:
    """Return the distance along a line of the places on it nearest to coordinates."""
    measures: FloatArray = shapely.line_locate_point(line, shapely.points(coordinates))
    return measures


def _run(start_m: float, stop_m: float, length_m: float) -> tuple[float, float]:
    start_m, stop_m = float(start_m), float(stop_m)
    return (start_m, stop_m if stop_m > start_m else stop_m + length_m)


def _line(coordinates: Sequence[Sequence[float]]) -> shapely.LineString | None:
    vertices = np.asarray(coordinates, dtype=np.float64)
    keep = np.r_[True, np.any(np.diff(vertices, axis=0) != 0, axis=1)]
    vertices = vertices[keep]
    return shapely.LineString(vertices) if len(vertices) > 1 else None


def _sides(
    lines: list[shapely.LineString],
    owners: list[int],
    paddocks: gpd.GeoDataFrame,
    gap_m: float,
    between: GroundBetween,
) -> list[tuple[int, ...]]:
    """Return the paddocks beside each line: its owner, and those whose boundary keeps to it."""
    geometry = np.asarray(lines, dtype=object)
    boundaries = np.asarray(paddocks.boundary.array, dtype=object)
    labels = paddocks.index.to_numpy()
    line_ids, positions = shapely.STRtree(boundaries).query(
        geometry, predicate="dwithin", distance=gap_m
    )
    along = _runs_along(geometry[line_ids], boundaries[positions], gap_m, between)
    sides = [{owner} for owner in owners]
    for line_id, position in zip(line_ids[along], positions[along], strict=True):
        sides[line_id].add(int(labels[position]))
    return [tuple(sorted(side)) for side in sides]


def _runs_along(
    lines: npt.NDArray[np.object_],
    boundaries: npt.NDArray[np.object_],
    gap_m: float,
    between: GroundBetween,
) -> npt.NDArray[np.bool_]:
    """Tell which lines keep within the gap of a boundary and roughly parallel to it.

    Beside a fence that only ends at a boundary, the nearest points on the boundary fall on one
    spot; along a shared fence they move on as fast as the line does.
    """
    if len(lines) == 0:
        return np.zeros(0, dtype=np.bool_)
    probes = shapely.line_interpolate_point(lines[:, None], _PROBES[None, :], normalized=True)
    shortest = shapely.get_coordinates(shapely.shortest_line(probes, boundaries[:, None]))
    ends = shortest.reshape(*probes.shape, 2, 2)
    offsets = np.hypot(*np.moveaxis(ends[:, :, 1] - ends[:, :, 0], -1, 0))
    steps = np.linalg.norm(np.diff(ends, axis=1), axis=3).sum(axis=1)
    beside = (offsets <= gap_m) & ~between.is_grazed(ends.reshape(-1, 2, 2)).reshape(offsets.shape)
    close: npt.NDArray[np.bool_] = beside.sum(axis=1) >= 3
    parallel: npt.NDArray[np.bool_] = steps[:, 1] >= 0.5 * steps[:, 0]
    return close & parallel
