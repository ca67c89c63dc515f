"""Corridors of a holding, from its lines to a small priced graph."""

from __future__ import annotations

from dataclasses import replace

import geopandas as gpd
import numpy as np
import shapely

from dewpond.base.model import Candidates, Corridors, Holding, Terrain
from dewpond.base.profile import ground_lengths_m
from dewpond.base.settings import DesignSettings, PricesSettings, RoutingSettings
from dewpond.base.surface import FloatArray
from dewpond.steps.corridors.crossings import count_crossings
from dewpond.steps.corridors.enclosed import about_cut_off, leave_keep_outs
from dewpond.steps.corridors.existing import existing_size_mm
from dewpond.steps.corridors.graph import Edges, simplify
from dewpond.steps.corridors.inside import tie_inside
from dewpond.steps.corridors.linework import (
    EXISTING,
    FENCE,
    GRID_M,
    OPEN_GROUND,
    TRACK,
    IntArray,
    Linework,
    cut,
    forbidden_ground,
    gather,
    grid_keys,
    lines_between,
    on_grid,
)
from dewpond.steps.corridors.links import cross_gaps, join_parts
from dewpond.steps.corridors.open_ground import cross_open_ground
from dewpond.steps.corridors.topology import number_nodes

# A site or source this near a line stands on it [m].
_ON_LINE_M = 0.05


def lay_corridors(
    holding: Holding,
    terrain: Terrain,
    candidates: Candidates,
    routing: RoutingSettings,
    design: DesignSettings,
    prices: PricesSettings,
) -> Corridors:
    """Lay out and price every way that pipe may take.

    Fences, tracks, spines and sound existing pipe are cut where they meet and at every site; gaps
    such as lanes are crossed where the way round is long; with ``design.follow`` "open" a lattice
    crosses the paddocks too. Sites, sources and parts that stay apart are joined by spurs over
    open ground, sites deep within a paddock from one to the next. Nothing runs through a keep-out
    or forbidden ground (lines may touch its edge), except pipe already there and the shortest way
    out of one that a source stands in.

    Parameters
    ----------
    holding : Holding
        Features and ground heights; the length of a way is taken over these heights at their own
        posting.
    terrain : Terrain
        Not needed yet: heights come from the surface itself, which is finer.
    candidates : Candidates
        Sites and fence lines.
    routing, design, prices
        Spacing on open ground and widest gap; ways allowed; prices per metre and per crossing.

    Returns
    -------
    Corridors
        May fall into parts where keep-outs leave no way between them; `lay_out` leaves out
        sites that cannot be joined, and a warning names what cuts a source off from all.
    """
    features = holding.features
    forbidden = forbidden_ground(features.keep_out, features.forbidden_ground)
    work = gather(holding, candidates.fences, forbidden)
    sites = shapely.get_coordinates(candidates.sites.geometry)
    sources = np.array([[s.easting_m, s.northing_m] for s in holding.sources]).reshape(-1, 2)
    work, places, loose = _stand_on_lines(work, np.vstack([sites, sources]))
    sources_at = places[len(sites) :]
    free = loose[~shapely.intersects(forbidden, shapely.points(places[loose]))]
    at_site = free < len(sites)
    work = tie_inside(work, places[free[at_site]], places[free[~at_site]], forbidden)
    work, notes = leave_keep_outs(work, holding, sources_at, forbidden)
    work = cross_gaps(work, routing.widest_gap_m, forbidden)
    if design.follow == "open":
        work = cross_open_ground(work, holding.paddocks, routing.open_ground_spacing_m, forbidden)
    work = join_parts(work, places, forbidden)
    notes = (*notes, *about_cut_off(work, holding, places, len(sites)))
    return replace(_corridors(holding, work, places, len(sites), prices), warnings=notes)


def _stand_on_lines(work: Linework, points: FloatArray) -> tuple[Linework, FloatArray, IntArray]:
    """Cut the lines at the points that stand on them.

    Returns
    -------
    Linework
    array of float, shape (k, 2)
        Where each point stands now, no two on one spot.
    array of int
        Positions of the points that stand on no line.
    """
    places = on_grid(points)
    on_line = np.empty((2, 0), dtype=np.intp)
    if len(work.lines) and len(points):
        on_line = shapely.STRtree(work.lines).query_nearest(
            shapely.points(points), max_distance=_ON_LINE_M, all_matches=False
        )
    point, target = on_line
    work, places[point] = cut(work, target.astype(np.intp), points[point])
    return (*_set_apart(work, places), np.setdiff1d(np.arange(len(points)), point))


def _set_apart(work: Linework, places: FloatArray) -> tuple[Linework, FloatArray]:
    """Move points that share a spot a hair apart and tie them, so that each is its own node."""
    keys = grid_keys(places)
    _, first, spot = np.unique(keys, axis=0, return_index=True, return_inverse=True)
    spot = spot.reshape(-1)
    extra = np.flatnonzero(first[spot] != np.arange(len(places)))
    if extra.size == 0:
        return work, places
    moved = places.copy()
    rank = np.array([(spot[:one] == spot[one]).sum() for one in extra])
    moved[extra, 0] += 2 * GRID_M * rank
    return work.with_lines(lines_between(places[extra], moved[extra]), OPEN_GROUND), moved


def _corridors(
    holding: Holding, work: Linework, places: FloatArray, site_count: int, prices: PricesSettings
) -> Corridors:
    nodes = number_nodes(work)
    marks = _marks(nodes.coordinates, places)
    edges = simplify(_priced(holding, work, nodes.start, nodes.end, prices), marks >= 0)
    used = np.union1d(np.union1d(edges.start, edges.end), np.flatnonzero(marks >= 0))
    coordinates = nodes.coordinates[used]
    mark = marks[used]
    # A site or source that no line reaches is a node all the same, apart from the rest.
    apart = np.setdiff1d(np.arange(len(places)), mark)
    coordinates = np.vstack([coordinates, places[apart]])
    mark = np.concatenate([mark, apart])
    table = gpd.GeoDataFrame(
        {
            "site": np.where((mark >= 0) & (mark < site_count), mark, -1),
            "source": np.where(mark >= site_count, mark - site_count, -1),
            "ground_level_m": holding.surface.heights_m(coordinates[:, 0], coordinates[:, 1]),
        },
        geometry=shapely.points(coordinates),
        crs=holding.crs,
    )
    return Corridors(table, _edge_table(edges, used, holding))


def _marks(coordinates: FloatArray, places: FloatArray) -> IntArray:
    """Return for each node the position of the place that stands on it, else -1."""
    marks = np.full(len(coordinates), -1, dtype=np.intp)
    of_key = {tuple(key): node for node, key in enumerate(grid_keys(coordinates).tolist())}
    for place, key in enumerate(grid_keys(places).tolist()):
        if tuple(key) in of_key:
            marks[of_key[tuple(key)]] = place
    return marks


def _priced(
    holding: Holding, work: Linework, start: IntArray, end: IntArray, prices: PricesSettings
) -> Edges:
    per_m = {
        EXISTING: 0.0,
        FENCE: prices.along_fence_per_m,
        TRACK: prices.along_track_per_m,
        OPEN_GROUND: prices.open_ground_per_m,
    }
    length_m = ground_lengths_m(work.lines, holding.surface)
    new = work.laying != EXISTING
    tracks = np.zeros(len(work.lines), dtype=np.intp)
    watercourses = tracks.copy()
    tracks[new] = count_crossings(work.lines[new], holding.features.tracks)
    watercourses[new] = count_crossings(work.lines[new], holding.features.watercourses)
    cost = (
        length_m * np.array([per_m[kind] for kind in work.laying])
        + tracks * prices.track_crossing_each
        + watercourses * prices.watercourse_crossing_each
    )
    return Edges(start, end, work.lines, work.laying, length_m, cost, tracks, watercourses)


def _edge_table(edges: Edges, used: IntArray, holding: Holding) -> gpd.GeoDataFrame:
    start, end = np.searchsorted(used, edges.start), np.searchsorted(used, edges.end)
    order = np.lexsort((end, start))
    crossings = [
        ("track",) * int(track) + ("watercourse",) * int(watercourse)
        for track, watercourse in zip(edges.tracks, edges.watercourses, strict=True)
    ]
    table = gpd.GeoDataFrame(
        {
            "start": start,
            "end": end,
            "length_m": edges.length_m,
            "laying": edges.laying,
            "crossings": crossings,
            "cost": edges.cost,
            "existing_outside_diameter_mm": existing_size_mm(holding, edges),
        },
        geometry=edges.lines,
        crs=holding.crs,
    )
    return table.iloc[order].reset_index(drop=True)
