"""Ways over open ground: a lattice within each paddock, tied to the ends of lines round it."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely
from scipy.spatial import Delaunay, QhullError

from dewpond.base.surface import FloatArray
from dewpond.steps.corridors.linework import (
    GRID_M,
    OPEN_GROUND,
    IntArray,
    Linework,
    cut,
    lines_between,
    on_grid,
)
from dewpond.steps.corridors.topology import number_nodes

# Ends of lines and lattice points closer than this share of the spacing would crowd [share].
_CLEARANCE = 0.35
# Lines drawn along a boundary may stray across it so far and still count as within [m].
_EDGE_M = 0.5
# The other diagonal of two triangles is a way too while no longer than so many spacings.
_DIAGONAL = 2.0
# Sides that differ by less are equally long; the first of them counts [share].
_ROUNDING = 1e-6


def cross_open_ground(
    work: Linework, paddocks: gpd.GeoDataFrame, spacing_m: float, forbidden: shapely.Geometry
) -> Linework:
    """Add straight ways over each paddock between lattice points and the ends of lines in it.

    The lattice is triangular; neighbours are those of the Delaunay triangulation and, across each
    of its edges, the two corners opposite, so that well inside a paddock a way in any direction
    is at most 4 % longer than straight (1 / cos 15 degrees).
    """
    work = _with_places(work, spacing_m)
    ends = number_nodes(work).coordinates
    tree = shapely.STRtree(shapely.points(ends))
    starts, stops = [np.empty((0, 2))], [np.empty((0, 2))]
    for shape in paddocks.geometry:
        for part in shapely.get_parts(shape):
            near = tree.query(part, predicate="dwithin", distance=_EDGE_M)
            points = _points(part, ends[np.sort(near)], spacing_m, forbidden)
            one, other = neighbours(points, spacing_m)
            lines = lines_between(points[one], points[other])
            room = shapely.buffer(part, _EDGE_M)
            shapely.prepare(room)
            free = shapely.covers(room, lines) & ~shapely.intersects(forbidden, lines)
            starts.append(points[one[free]])
            stops.append(points[other[free]])
    return work.with_lines(lines_between(np.vstack(starts), np.vstack(stops)), OPEN_GROUND)


def _with_places(work: Linework, spacing_m: float) -> Linework:
    """Cut long lines so that ways over open ground can leave them every spacing or so."""
    length = shapely.length(work.lines)
    pieces = np.ceil(length / spacing_m).astype(np.intp)
    targets = np.repeat(np.arange(len(pieces)), np.maximum(pieces - 1, 0))
    if targets.size == 0:
        return work
    step = np.arange(targets.size) - np.searchsorted(targets, targets) + 1
    measures = length[targets] * step / pieces[targets]
    points = shapely.line_interpolate_point(work.lines[targets], measures)
    return cut(work, targets, shapely.get_coordinates(points))[0]


def _points(
    part: shapely.Polygon, ends: FloatArray, spacing_m: float, forbidden: shapely.Geometry
) -> FloatArray:
    """Return the ends of lines, then lattice points well inside and clear of them."""
    lattice = _lattice(part, spacing_m)
    points = shapely.points(lattice)
    clear_m = _CLEARANCE * spacing_m
    keep = shapely.contains_xy(part, lattice[:, 0], lattice[:, 1])
    keep &= shapely.distance(part.boundary, points) > clear_m
    keep &= ~shapely.intersects(forbidden, points)
    if len(ends):
        keep &= shapely.distance(shapely.multipoints(ends), points) > clear_m
    return np.vstack([ends, on_grid(lattice[keep])])


def _lattice(part: shapely.Polygon, spacing_m: float) -> FloatArray:
    """Return a triangular lattice over a paddock, along its longest side, about its centroid.

    It hangs on nothing but the paddock, so that it turns and moves with the holding.
    """
    outline = shapely.get_coordinates(shapely.simplify(part.exterior, _EDGE_M))
    sides = np.diff(outline, axis=0)
    length = np.hypot(sides[:, 0], sides[:, 1])
    longest = int(np.argmax(length >= length.max() * (1 - _ROUNDING)))
    along = sides[longest] / length[longest]
    across = np.array([-along[1], along[0]])
    centre = shapely.get_coordinates(part.centroid)[0]
    reach_m = np.hypot(*(outline - centre).T).max()
    rise = spacing_m * np.sqrt(3) / 2
    count = int(np.ceil(reach_m / rise))
    row, column = np.mgrid[-count : count + 1, -count - 1 : count + 2]
    steps_along = ((column + row % 2 / 2) * spacing_m).reshape(-1, 1)
    steps_across = (row * rise).reshape(-1, 1)
    points: FloatArray = centre + steps_along * along + steps_across * across
    return points


def neighbours(points: FloatArray, spacing_m: float) -> tuple[IntArray, IntArray]:
    """Return pairs of points that are neighbours, each once.

    Neighbours share a side of the Delaunay triangulation, or face each other across one and are
    no farther apart than two spacings [m].
    """
    none = np.empty(0, dtype=np.intp)
    if len(points) < 4:
        one, other = np.triu_indices(len(points), k=1)
        return one, other
    try:
        # Coordinates near zero keep the triangulation exact to the grid.
        mesh = Delaunay(points - points.mean(axis=0))
    except QhullError:
        return none, none  # all on one line: the fence itself joins them
    triangles = mesh.simplices
    sides = np.vstack([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]])
    pairs = np.vstack([sides, _opposite(mesh, points, _DIAGONAL * spacing_m)])
    pairs = np.unique(np.sort(pairs, axis=1), axis=0).astype(np.intp)
    apart = np.hypot(*(points[pairs[:, 0]] - points[pairs[:, 1]]).T) > GRID_M
    return pairs[apart, 0], pairs[apart, 1]


def _opposite(mesh: Delaunay, points: FloatArray, longest_m: float) -> npt.NDArray[np.int32]:
    """Return the corners that face each other across a shared side, if the way crosses it."""
    triangle, corner = np.nonzero(mesh.neighbors > np.arange(len(mesh.simplices))[:, None])
    facing = mesh.neighbors[triangle, corner]
    one = mesh.simplices[triangle, corner]
    shared_a = mesh.simplices[triangle, (corner + 1) % 3]
    shared_b = mesh.simplices[triangle, (corner + 2) % 3]
    other = mesh.simplices[facing].sum(axis=1) - shared_a - shared_b
    crosses = _turn(points, one, other, shared_a) * _turn(points, one, other, shared_b) < 0
    short = np.hypot(*(points[one] - points[other]).T) <= longest_m
    facing_pairs: npt.NDArray[np.int32] = np.column_stack([one, other])[crosses & short]
    return facing_pairs


def _turn(
    points: FloatArray,
    a: npt.NDArray[np.int32],
    b: npt.NDArray[np.int32],
    c: npt.NDArray[np.int32],
) -> FloatArray:
    """Return twice the signed area of the triangles a, b, c."""
    first, second = points[b] - points[a], points[c] - points[a]
    area: FloatArray = first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]
    return area
