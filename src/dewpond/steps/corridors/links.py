"""Short ways over open ground that tie what stands apart: spurs, gaps, separate parts."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import shapely
from scipy.sparse.csgraph import connected_components, dijkstra

from dewpond.base.surface import FloatArray
from dewpond.steps.corridors.detour import way_round
from dewpond.steps.corridors.linework import (
    GRID_M,
    OPEN_GROUND,
    IntArray,
    Linework,
    ObjectArray,
    cut,
    grid_keys,
    line_ends,
    lines_between,
    on_grid,
)
from dewpond.steps.corridors.topology import Nodes, adjacency, number_nodes

# Spurs from a point off the lines: to so many lines, none much longer than the shortest.
_SPURS = 3
_LONGEST_SPUR = 2.0
# A gap is worth crossing when the way round is more than this many times as long.
_WORTH = 3.0
_PASSES = 2
# Links that reach a line this near to each other, or to its end, meet it in one place [m].
_ONE_PLACE_M = 3.0


def spurs(work: Linework, points: FloatArray, forbidden: shapely.Geometry) -> Linework:
    """Tie each point to the nearest few lines by straight spurs that keep off forbidden ground.

    A point none of whose spurs is free stays untied; `join_parts` looks for a way round.
    """
    if len(work.lines) == 0 or len(points) == 0:
        return work
    starts: list[FloatArray] = []
    targets: list[IntArray] = []
    feet: list[FloatArray] = []
    for point in points:
        chosen, foot = _nearest_feet(work, shapely.Point(point), forbidden)
        starts.append(np.repeat(point[None], len(chosen), axis=0))
        targets.append(chosen)
        feet.append(foot)
    return _tie(work, np.vstack(starts), np.concatenate(targets), np.vstack(feet), forbidden)


def cross_gaps(work: Linework, gap_m: float, forbidden: shapely.Geometry) -> Linework:
    """Tie the ends of lines to other lines within a gap, where the way round is far longer.

    Where a track runs between two fences, the first pass ties a fence to the track and the
    second goes on from there to the far side.
    """
    for _ in range(_PASSES):
        work = _cross_nearest_gaps(work, gap_m, forbidden)
    return work


def _cross_nearest_gaps(work: Linework, gap_m: float, forbidden: shapely.Geometry) -> Linework:
    nodes = number_nodes(work)
    points = shapely.points(nodes.coordinates)
    node, line = shapely.STRtree(work.lines).query(points, predicate="dwithin", distance=gap_m)
    apart = (nodes.start[line] != node) & (nodes.end[line] != node)
    node, line = node[apart], line[apart]
    link = shapely.shortest_line(points[node], work.lines[line])
    long_way = _way_round_m(work, nodes, node, line, link, _WORTH * gap_m)
    length = shapely.length(link)
    keep = (length > GRID_M) & (long_way > _WORTH * length) & is_free(link, forbidden)
    keep &= nothing_between(work, link)
    node, line, link, length = node[keep], line[keep], link[keep], length[keep]
    # The nearest of the lines across is enough for each node.
    order = np.lexsort((line, length, node))
    first = np.r_[True, np.diff(node[order]) != 0] if len(order) else np.empty(0, dtype=bool)
    order = order[first]
    feet = line_ends(link[order])[:, 1]
    return _tie(work, nodes.coordinates[node[order]], line[order].astype(np.intp), feet, forbidden)


def join_parts(work: Linework, loose: FloatArray, forbidden: shapely.Geometry) -> Linework:
    """Join separate parts of the lines, and loose points, by the shortest free spurs.

    Each round ties every part but the largest to its nearest neighbour, straight if the way is
    free, else round the forbidden ground; it ends when nothing more can be joined.
    """
    while True:
        parts = _parts(work, loose)
        if len(parts) <= 1:
            return work
        before = len(work.lines)
        for part in parts[1:]:
            # Lines were cut and added by now, so what is still apart is found by its place.
            work = _join_part(work, part, forbidden)
        if len(work.lines) == before:
            return work


def _nearest_feet(
    work: Linework, point: shapely.Point, forbidden: shapely.Geometry
) -> tuple[IntArray, FloatArray]:
    distance = shapely.distance(work.lines, point)
    near = np.argsort(distance, kind="stable")[: 10 * _SPURS]
    near = near[distance[near] <= _LONGEST_SPUR * distance[near[0]] + 1.0]
    link = shapely.shortest_line(point, work.lines[near])
    feet = line_ends(link)[:, 1]
    free = is_free(link, forbidden) & nothing_between(work, link)
    _, first = np.unique(grid_keys(feet), axis=0, return_index=True)
    once = np.zeros(len(near), dtype=bool)
    once[first] = True
    chosen = np.flatnonzero(free & once)[:_SPURS]
    return near[chosen].astype(np.intp), feet[chosen]


def _tie(
    work: Linework,
    starts: FloatArray,
    targets: IntArray,
    feet: FloatArray,
    forbidden: shapely.Geometry,
) -> Linework:
    """Cut the target lines at the feet and add the links from the starts to them."""
    if len(targets) == 0:
        return work
    work, places = cut(work, targets, feet, _ONE_PLACE_M)
    ends = np.stack([on_grid(starts), places], axis=1)
    ends = ends[is_free(lines_between(ends[:, 0], ends[:, 1]), forbidden)]
    keys = grid_keys(ends.reshape(-1, 2)).reshape(-1, 4)
    _, first = np.unique(np.sort(keys.view().reshape(-1, 2, 2), axis=1).reshape(-1, 4), axis=0,
                         return_index=True)  # fmt: skip
    distinct = np.zeros(len(ends), dtype=bool)
    distinct[first] = True
    distinct &= (keys[:, :2] != keys[:, 2:]).any(axis=1)
    return work.with_lines(lines_between(ends[distinct, 0], ends[distinct, 1]), OPEN_GROUND)


def is_free(links: ObjectArray, forbidden: shapely.Geometry) -> npt.NDArray[np.bool_]:
    """Tell which links keep off forbidden ground."""
    crossed: npt.NDArray[np.bool_] = shapely.intersects(forbidden, links)
    return ~crossed


def nothing_between(work: Linework, links: ObjectArray) -> npt.NDArray[np.bool_]:
    """Tell which links meet no line on the way, their ends aside."""
    ends = line_ends(links)
    span = ends[:, 1] - ends[:, 0]
    length = np.maximum(np.hypot(span[:, 0], span[:, 1]), GRID_M)
    inset = span * np.minimum(5 * GRID_M / length, 0.25)[:, None]
    inner = lines_between(ends[:, 0] + inset, ends[:, 1] - inset)
    met, _ = shapely.STRtree(work.lines).query(inner, predicate="intersects")
    clear = np.ones(len(links), dtype=bool)
    clear[met] = False
    return clear


def _way_round_m(
    work: Linework,
    nodes: Nodes,
    node: IntArray,
    line: IntArray,
    link: ObjectArray,
    limit_m: float,
) -> FloatArray:
    """Return the way along the lines from a node to the foot of its link, inf beyond a limit."""
    if len(node) == 0:
        return np.empty(0)
    lengths = shapely.length(work.lines)
    asked, row = np.unique(node, return_inverse=True)
    matrix = adjacency(nodes, lengths)
    distance = dijkstra(matrix, directed=False, indices=asked, limit=limit_m)
    foot = shapely.get_point(link, -1)
    measure = shapely.line_locate_point(work.lines[line], foot)
    by_start = distance[row, nodes.start[line]] + measure
    by_end = distance[row, nodes.end[line]] + lengths[line] - measure
    shortest: FloatArray = np.minimum(by_start, by_end)
    return shortest


def _parts(work: Linework, loose: FloatArray) -> list[shapely.Geometry]:
    """Return the separate parts, the longest first; a loose point is a part of its own."""
    nodes = number_nodes(work)
    count = len(nodes.coordinates)
    parts: list[shapely.Geometry] = []
    if count:
        total, label = connected_components(adjacency(nodes, np.ones(len(work.lines))))
        of_line = label[nodes.start]
        parts = [shapely.MultiLineString(list(work.lines[of_line == p])) for p in range(total)]
        parts.sort(key=lambda part: -part.length)
    taken = {tuple(key) for key in grid_keys(nodes.coordinates).tolist()}
    free = [p for p, key in zip(loose, grid_keys(loose).tolist(), strict=True)
            if tuple(key) not in taken]  # fmt: skip
    return parts + [shapely.Point(point) for point in free]


def _join_part(work: Linework, part: shapely.Geometry, forbidden: shapely.Geometry) -> Linework:
    nodes = number_nodes(work)
    own = _lines_joined_to(work, nodes, part)
    others = np.flatnonzero(~own)
    if others.size == 0:
        return work
    here = shapely.MultiLineString(list(work.lines[own])) if own.any() else part
    links = shapely.shortest_line(here, work.lines[others])
    order = np.argsort(shapely.length(links), kind="stable")
    free = order[is_free(links[order], forbidden)]
    if free.size:
        link = links[free[0]]
    else:
        link = way_round(here, shapely.MultiLineString(list(work.lines[others])), forbidden)
        if link is None:
            return work
    return add_link(work, link)


def _lines_joined_to(
    work: Linework, nodes: Nodes, part: shapely.Geometry
) -> npt.NDArray[np.bool_]:
    """Tell which lines hang together with a part by now."""
    _, label = connected_components(adjacency(nodes, np.ones(len(work.lines))))
    touching = shapely.STRtree(work.lines).query(part, predicate="dwithin", distance=GRID_M)
    of_line = label[nodes.start]
    joined: npt.NDArray[np.bool_] = np.isin(of_line, of_line[touching])
    return joined


def add_link(work: Linework, link: shapely.LineString) -> Linework:
    """Add a link whose ends lie on lines (or on a loose point), cutting the lines there."""
    coordinates = on_grid(shapely.get_coordinates(link))
    for end in (0, -1):
        tree = shapely.STRtree(work.lines)
        at = tree.query_nearest(shapely.Point(coordinates[end]), max_distance=5 * GRID_M)
        if at.size:
            work, places = cut(work, at[:1].astype(np.intp), coordinates[[end]])
            coordinates[end] = places[0]
    return work.with_lines(np.array([shapely.LineString(coordinates), None])[:1], OPEN_GROUND)
