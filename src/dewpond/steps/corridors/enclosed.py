"""Sources that a keep-out holds in: the way out of one they stand in, and a word on the others."""

from __future__ import annotations

from collections.abc import Iterator

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from scipy.sparse.csgraph import connected_components

from dewpond.base.model import Holding, Source
from dewpond.base.surface import FloatArray
from dewpond.base.words import words
from dewpond.steps.corridors.detour import way_round
from dewpond.steps.corridors.linework import (
    GRID_M,
    OPEN_GROUND,
    IntArray,
    Linework,
    cut,
    grid_keys,
    lines_between,
    on_grid,
)
from dewpond.steps.corridors.links import add_link, spurs
from dewpond.steps.corridors.topology import adjacency, number_nodes

# The way out ends this far beyond the ground that pipe may not enter, which is itself drawn in by
# half as much: keep-outs that touch are left as one [m].
_BEYOND_M = 0.5
# Ways out whose lengths differ by less are equally short [m].
_ROUNDING_M = 0.05


def leave_keep_outs(
    work: Linework, holding: Holding, places: FloatArray, forbidden: shapely.Geometry
) -> tuple[Linework, tuple[str, ...]]:
    """Lead pipe from sources within forbidden ground by the shortest way to its edge.

    Parameters
    ----------
    places : array of float, shape (n sources, 2)
        Where each source stands.

    Returns
    -------
    Linework
    tuple of str
        A note for each such source.
    """
    notes = []
    for source, place in zip(holding.sources, places, strict=True):
        if not shapely.intersects(forbidden, shapely.Point(place)):
            continue
        way = _way_out(work, place, forbidden)
        work = _with_way_out(work, way, forbidden)
        names = _names(holding, shapely.Point(place))
        notes.append(
            words(
                "routing.enclosed.source_led_out",
                name=source.name,
                names=names,
                length=way.length,
            )
        )
    return work, tuple(notes)


def about_cut_off(
    work: Linework, holding: Holding, places: FloatArray, site_count: int
) -> Iterator[str]:
    """Name the keep-outs that cut a source off from every site."""
    label = _parts(work, places)
    sites = shapely.points(places[:site_count])
    for source, place, part in zip(
        holding.sources, places[site_count:], label[site_count:], strict=True
    ):
        if site_count == 0 or (label[:site_count] == part).any():
            continue
        point = shapely.Point(place)
        nearest = sites[int(np.argmin(shapely.distance(sites, point)))]
        names = _names(holding, shapely.LineString([point, nearest]))
        yield _cut_off(source, names)


def _cut_off(source: Source, names: str) -> str:
    if not names:
        return words("routing.enclosed.source_not_joined", name=source.name)
    return words("routing.enclosed.source_cut_off", name=source.name, names=names)


def _way_out(work: Linework, place: FloatArray, forbidden: shapely.Geometry) -> shapely.LineString:
    """Return the straight way from a place to the edge, or to a line met before."""
    point = shapely.Point(place)
    parts = shapely.get_parts(shapely.buffer(forbidden, _BEYOND_M))
    own = parts[int(np.argmin(shapely.distance(parts, point)))]
    edge = own.exterior
    reach = shapely.buffer(point, edge.distance(point) + _ROUNDING_M, quad_segs=64)
    equally_near = shapely.get_parts(shapely.line_merge(shapely.intersection(edge, reach)))
    ends = shapely.get_coordinates(shapely.shortest_line(equally_near, point)).reshape(-1, 2, 2)
    ends = (
        ends[:, 0] if len(ends) else shapely.get_coordinates(edge.interpolate(edge.project(point)))
    )
    lines = shapely.MultiLineString(list(work.lines))
    if not lines.is_empty:
        ends = ends[np.argsort(shapely.distance(shapely.points(ends), lines), kind="stable")]
    way = shapely.LineString([place, on_grid(ends[0])])
    met = shapely.get_coordinates(shapely.intersection(work.lines, way))
    met = met[np.hypot(*(met - place).T) > 5 * GRID_M]
    if len(met):
        way = shapely.LineString([place, met[int(np.argmin(np.hypot(*(met - place).T)))]])
    return way


def _with_way_out(
    work: Linework, way: shapely.LineString, forbidden: shapely.Geometry
) -> Linework:
    """Add a way out and tie its outer end to the lines: straight, or else round."""
    end = shapely.get_coordinates(way)[1:]
    at = np.empty(0, dtype=np.intp)
    if len(work.lines):
        found = shapely.STRtree(work.lines).query(
            shapely.Point(end[0]), predicate="dwithin", distance=5 * GRID_M
        )
        at = found[:1].astype(np.intp)
    if at.size:
        work, end = cut(work, at, end)
    else:
        before = len(work.lines)
        work = spurs(work, end, forbidden)
        if before and len(work.lines) == before:
            lines = shapely.MultiLineString(list(work.lines))
            link = way_round(shapely.Point(end[0]), lines, forbidden)
            work = work if link is None else add_link(work, link)
    start = shapely.get_coordinates(way)[:1]
    return work.with_lines(lines_between(on_grid(start), on_grid(end)), OPEN_GROUND)


def _names(holding: Holding, where: shapely.Geometry) -> str:
    """Return the keep-outs and forbidden ground that a place or way touches, in words."""
    features = holding.features
    kinds = (("keep-out", features.keep_out), ("forbidden ground", features.forbidden_ground))
    found = [word for kind, table in kinds for word in _touched(kind, table, where)]
    return " and ".join(dict.fromkeys(found))


def _touched(kind: str, table: gpd.GeoDataFrame, where: shapely.Geometry) -> Iterator[str]:
    touched = np.flatnonzero(shapely.intersects(table.geometry.to_numpy(), where))
    for row in touched.tolist():
        name = table["name"].iloc[row] if "name" in table else None
        known = name is not None and not pd.isna(name) and str(name)
        yield (
            f'{kind} "{name}"'
            if known
            else words("routing.enclosed.nameless_keep_out", kind=kind)
            if kind == "keep-out"
            else kind
        )


def _parts(work: Linework, places: FloatArray) -> IntArray:
    """Return a number for the part that each place belongs to, one of its own where on no line."""
    label = -1 - np.arange(len(places))
    if len(work.lines) == 0:
        return label
    nodes = number_nodes(work)
    part = connected_components(adjacency(nodes, np.ones(len(work.lines))), directed=False)[1]
    of_key = {tuple(key): node for node, key in enumerate(grid_keys(nodes.coordinates).tolist())}
    for place, key in enumerate(grid_keys(places).tolist()):
        if tuple(key) in of_key:
            label[place] = part[of_key[tuple(key)]]
    return label
