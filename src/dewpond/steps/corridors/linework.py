"""Lines that pipe may follow, cut where they meet, on one fine grid of coordinates.

Every end of every line stands on the grid, so two lines meet exactly when their ends are equal.
"""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely
from shapely.ops import substring

from dewpond.base.model import Holding
from dewpond.base.surface import FloatArray

ObjectArray = npt.NDArray[np.object_]
IntArray = npt.NDArray[np.intp]

GRID_M = 0.001
"""Spacing of the coordinates of ends [m]: far below any survey, far above rounding."""

EXISTING, FENCE, TRACK, OPEN_GROUND = "existing", "fence", "track", "open ground"

# Pipe in this condition is not used again.
_WORN_OUT = "poor"
# A track drawn this near a fence follows it: one corridor, not two [m].
_ALONGSIDE_M = 1.0
# A shorter stretch beside a fence is a crossing, not a following [m].
_FOLLOWING_M = 5.0
# A line on the edge of a keep-out may stray inside this far before it is cut [m].
_EDGE_M = 0.25


@dataclass(frozen=True, eq=False)
class Linework:
    """Lines that meet at their ends only, each with its way of laying.

    Attributes
    ----------
    lines : array of LineString, shape (m,)
    laying : array of text, shape (m,)
    """

    lines: ObjectArray
    laying: ObjectArray

    def with_lines(self, lines: ObjectArray, laying: str) -> Linework:
        """Return the linework with more lines, whose ends stand on the grid."""
        kinds = np.full(len(lines), laying, dtype=object)
        return Linework(np.append(self.lines, lines), np.append(self.laying, kinds))

    def ends(self) -> FloatArray:
        """Return the first and last coordinates of each line, shape (m, 2, 2)."""
        return line_ends(self.lines)


def line_ends(lines: ObjectArray) -> FloatArray:
    """Return the first and last coordinates of each line, shape (m, 2, 2)."""
    first = shapely.get_coordinates(shapely.get_point(lines, 0))
    last = shapely.get_coordinates(shapely.get_point(lines, -1))
    ends: FloatArray = np.stack([first, last], axis=1)
    return ends


def on_grid(coordinates: FloatArray) -> FloatArray:
    """Return coordinates moved to the grid."""
    moved: FloatArray = np.round(coordinates / GRID_M) * GRID_M
    return moved


def grid_keys(coordinates: FloatArray) -> npt.NDArray[np.int64]:
    """Return whole numbers that are equal where coordinates stand on the same grid point."""
    return np.rint(coordinates / GRID_M).astype(np.int64)


def lines_between(starts: FloatArray, ends: FloatArray) -> ObjectArray:
    """Return a straight line from each start to the end beside it."""
    lines: ObjectArray = shapely.linestrings(np.stack([starts, ends], axis=1))
    return lines


def forbidden_ground(*closed: gpd.GeoDataFrame) -> shapely.Geometry:
    """Return the ground that pipe may not enter: polygons less a hair along their edges."""
    shapes = np.concatenate([_geometries(table) for table in closed])
    ground = shapely.union_all(shapely.buffer(shapes, -_EDGE_M))
    shapely.prepare(ground)
    return ground


def gather(holding: Holding, fences: gpd.GeoDataFrame, forbidden: shapely.Geometry) -> Linework:
    """Bring together fences, tracks, spines and sound pipe, cut where they cross or touch.

    Pipe already in the ground stays where it runs through a keep-out; other lines are cut there.
    """
    existing = _lines_of(_geometries(sound_pipe(holding)))
    fence = shapely.difference(_geometries(fences), forbidden)
    track = _apart(_lines_of(_geometries(holding.features.tracks)), fence)
    track = shapely.difference(track, forbidden)
    spine = shapely.difference(_lines_of(_geometries(holding.features.spine)), forbidden)
    union = shapely.union_all(np.concatenate([existing, fence, track, spine]), grid_size=GRID_M)
    lines = _line_parts(np.array([union]))
    if len(lines) == 0:
        return Linework(lines, np.empty(0, dtype=object))
    lines = shapely.transform(lines, on_grid)
    laying = np.full(len(lines), OPEN_GROUND, dtype=object)
    laying[_lie_on(lines, track)] = TRACK
    laying[_lie_on(lines, fence)] = FENCE
    laying[_lie_on(lines, existing)] = EXISTING
    return Linework(lines, laying)


def sound_pipe(holding: Holding) -> gpd.GeoDataFrame:
    """Return the pipe in the ground that can be used again."""
    pipe = holding.features.existing_pipe
    return pipe[pipe["condition"] != _WORN_OUT] if "condition" in pipe else pipe


def cut(
    work: Linework, targets: IntArray, points: FloatArray, merge_m: float = GRID_M
) -> tuple[Linework, FloatArray]:
    """Cut lines at the places on them nearest to points.

    Parameters
    ----------
    targets : array of int, shape (k,)
        Position of the line to cut for each point.
    points : array of float, shape (k, 2)
    merge_m : float
        Cuts this near to each other, or to an end, are made as one [m].

    Returns
    -------
    Linework
        The lines that were not cut first, in their order, then the pieces.
    array of float, shape (k, 2)
        The end at which each cut was made, or that was there already.
    """
    measures = shapely.line_locate_point(work.lines[targets], shapely.points(points))
    places = np.empty((len(targets), 2))
    pieces: list[shapely.LineString] = []
    kinds: list[str] = []
    whole = np.ones(len(work.lines), dtype=bool)
    for target in np.unique(targets):
        here = np.flatnonzero(targets == target)
        new, places[here] = _cut_line(work.lines[target], measures[here], merge_m)
        if len(new) > 1:
            whole[target] = False
            pieces.extend(new)
            kinds.extend([work.laying[target]] * len(new))
    lines = np.concatenate([work.lines[whole], np.array([*pieces, None], dtype=object)[:-1]])
    laying = np.concatenate([work.laying[whole], np.array(kinds, dtype=object)])
    return Linework(lines, laying), places


def _cut_line(
    line: shapely.LineString, measures: FloatArray, merge_m: float
) -> tuple[list[shapely.LineString], FloatArray]:
    ends = shapely.get_coordinates(line)[[0, -1]]
    inside = (measures > merge_m) & (measures < line.length - merge_m)
    nearer_start = measures <= line.length / 2
    places = np.where(nearer_start[:, None], ends[0], ends[1])
    marks = _thinned(np.unique(measures[inside]), merge_m)
    if marks.size == 0:
        return [line], places
    joints = on_grid(shapely.get_coordinates(shapely.line_interpolate_point(line, marks)))
    stops = np.concatenate([[0.0], marks, [line.length]])
    corners = np.vstack([ends[:1], joints, ends[1:]])
    pieces = [
        _piece(line, stops[i], stops[i + 1], corners[i], corners[i + 1])
        for i in range(len(stops) - 1)
    ]
    places[inside] = joints[np.searchsorted(marks, measures[inside], side="right") - 1]
    return pieces, places


def _thinned(marks: FloatArray, apart_m: float) -> FloatArray:
    """Return ascending marks without those too near to the one kept before them."""
    kept: list[float] = []
    for mark in marks.tolist():
        if not kept or mark - kept[-1] > apart_m:
            kept.append(mark)
    return np.array(kept)


def _piece(
    line: shapely.LineString, start_m: float, stop_m: float, start: FloatArray, stop: FloatArray
) -> shapely.LineString:
    coordinates = shapely.get_coordinates(substring(line, start_m, stop_m))
    return shapely.LineString(np.vstack([start, coordinates[1:-1], stop]))


def _geometries(table: gpd.GeoDataFrame) -> ObjectArray:
    """Return the geometries of a table that hold anything, without heights."""
    geometries = np.asarray(table.geometry.array, dtype=object)
    kept: ObjectArray = geometries[
        ~(shapely.is_missing(geometries) | shapely.is_empty(geometries))
    ]
    flat: ObjectArray = shapely.force_2d(kept)
    return flat


def _line_parts(geometries: ObjectArray) -> ObjectArray:
    parts = shapely.get_parts(shapely.get_parts(geometries))
    lines: ObjectArray = parts[(shapely.get_type_id(parts) == 1) & ~shapely.is_empty(parts)]
    return lines


def _lines_of(geometries: ObjectArray) -> ObjectArray:
    """Return lines as they are and polygons by their outlines."""
    parts = shapely.get_parts(geometries)
    area = shapely.get_dimensions(parts) == 2
    return _line_parts(np.concatenate([parts[~area], shapely.boundary(parts[area])]))


def _apart(tracks: ObjectArray, fences: ObjectArray) -> ObjectArray:
    """Return tracks without the stretches that run along fences, which stand for them."""
    if len(tracks) == 0 or len(fences) == 0:
        return tracks
    beside = shapely.buffer(shapely.union_all(fences), _ALONGSIDE_M, cap_style="flat")
    near = _line_parts(shapely.line_merge(shapely.intersection(tracks, beside)))
    following = near[shapely.length(near) > _FOLLOWING_M]
    if len(following) == 0:
        return tracks
    strip = shapely.buffer(shapely.union_all(following), 10 * GRID_M, cap_style="flat")
    return _line_parts(shapely.difference(tracks, strip))


def _lie_on(lines: ObjectArray, kind: ObjectArray) -> IntArray:
    """Return the positions of the lines whose middle lies on a line of a kind."""
    middles = shapely.line_interpolate_point(lines, 0.5, normalized=True)
    found = shapely.STRtree(kind).query(middles, predicate="dwithin", distance=5 * GRID_M)
    return np.unique(found[0]).astype(np.intp)
