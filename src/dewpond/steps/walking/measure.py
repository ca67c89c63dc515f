"""The public step: cut the paddocks into cells and measure the walk to each from every site."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass

import numpy as np
import pandas as pd
import scipy.sparse as sp
import shapely
from affine import Affine
from scipy import ndimage

from dewpond.base.gridgraph import BoolArray, FloatArray, IntArray
from dewpond.base.model import Candidates, Holding, Reach, Terrain
from dewpond.base.settings import DesignSettings, WalkingSettings
from dewpond.base.threads import usable_threads
from dewpond.steps.walking.broken import Layout
from dewpond.steps.walking.cells import cut_cells
from dewpond.steps.walking.ground import Costs, Ground
from dewpond.steps.walking.rooms import Spread, walk_room
from dewpond.steps.walking.routes import make_room

LEVEL_METRES_PER_METRE_CLIMBED = 13.0
"""Ribeiro, Brockway & Webster 1977, cattle: 26 J/kg per metre climbed, 2 J/kg per metre level."""

LEAST_WALK_M = 0.01
"""A stored walk is never zero, which a sparse matrix would read as out of reach."""

FENCE_M = 0.001
"""Stock keep this far from fences, so that fences that touch leave no way between them."""


@dataclass(frozen=True, eq=False)
class _Walks:
    """Walks from one site within one paddock, cells ascending."""

    site: int
    cell: IntArray
    walk_m: Costs


def measure_walks(
    holding: Holding,
    terrain: Terrain,
    candidates: Candidates,
    walking: WalkingSettings,
    design: DesignSettings,
    *,
    progress: Callable[[float], None] | None = None,
    workers: int | None = None,
) -> Reach:
    """Measure the walk from every candidate site to every grazed cell that it can serve.

    The walk runs from the drinking point of the paddock over the ground, inside the paddock:
    fences, holes and keep-outs stop stock, gates count as shut. It is the 3D length of the way
    that is shortest in plan, found exactly (straight, or taut round corners), unless the ground
    leaves room for a way more than 1 % better; then a 32-neighbour grid graph is searched too.
    Whatever the ground, the walk is overstated by 1.5 % at most (see docs/explanation/walking.md).

    With ``slope_effort = "cattle climb"`` walks are level-equivalent: 3D length plus 13 m for
    each metre climbed. That differs by direction, and stock must go both to the water and back,
    so the worse of the two trips is limited: the climb back up from a trough in a hollow counts
    as much as the climb up to a trough on a hill.

    Parameters
    ----------
    holding : Holding
        Paddocks in a projected CRS in metres; only grazed ones are measured.
    terrain : Terrain
        Heights on the walking grid. Cells without a height take that of the nearest with one.
    candidates : Candidates
        Sites and their drinking points. A point outside its paddock is carried to the boundary
        and the way there added.
    walking : WalkingSettings
    design : DesignSettings
        Walks longer than ``walk_limit_m``, plus ``hose_m`` where troughs are mobile, are left out.
    progress : callable, optional
        Told the share of the work done, from 0 to 1.
    workers : int, optional
        Threads; left out, one for each processor. The result does not depend on it.

    Returns
    -------
    Reach
        Cells in order of paddock, then from north to south and west to east.
    """
    hose_m = design.hose_m if design.trough == "mobile" else 0.0
    limit_m = design.walk_limit_m + hose_m
    ground = _ground(terrain, walking)
    grazed = list(holding.grazed)
    shapes = holding.paddocks.geometry.loc[grazed].to_numpy()
    tables = [cut_cells(shape, ground.transform) for shape in shapes]
    firsts = np.cumsum([0, *(len(table) for table in tables)])
    walks: list[_Walks] = []
    report = progress or (lambda share: None)
    with _spread(workers) as spread:
        for position, paddock in enumerate(grazed):
            access = candidates.access[candidates.access["paddock"] == paddock]
            for found in _walk_paddock(
                shapes[position], tables[position], access, ground, limit_m, spread
            ):
                cell = (found.cell + firsts[position]).astype(np.int32)
                walks.append(_Walks(found.site, cell, found.walk_m))
            report((position + 1) / len(grazed))
    cells = _cell_table(grazed, tables)
    shape = (len(candidates.sites), len(cells))
    return Reach(cells, _matrix(walks, shape), design.walk_limit_m, hose_m)


@contextmanager
def _spread(workers: int | None) -> Iterator[Spread]:
    workers = workers or usable_threads()
    if workers <= 1:
        yield map
        return
    with ThreadPoolExecutor(workers) as pool:
        yield pool.map


def _ground(terrain: Terrain, walking: WalkingSettings) -> Ground:
    height = terrain.height_m.values
    unknown = ~np.isfinite(height)
    if unknown.all():
        height = np.zeros_like(height)
    elif unknown.any():
        nearest = ndimage.distance_transform_edt(
            unknown, return_distances=False, return_indices=True
        )
        height = height[tuple(nearest)]
    climbing = walking.slope_effort == "cattle climb"
    weight = LEVEL_METRES_PER_METRE_CLIMBED / 2 if climbing else 0.0
    return Ground(height, terrain.height_m.transform, weight)


def _walk_paddock(
    paddock: shapely.Geometry,
    cells: pd.DataFrame,
    access: pd.DataFrame,
    ground: Ground,
    limit_m: float,
    spread: Spread,
) -> Iterator[_Walks]:
    """Find the walks in one paddock; cell numbers are positions in its own table."""
    if access.empty:
        return
    origin = np.floor(shapely.bounds(paddock)[:2])
    transform = Affine.translation(*-origin) @ ground.transform
    local = Ground(ground.height_m, transform, ground.climb_weight)
    rooms = _rooms(shapely.transform(paddock, lambda xy: xy - origin))
    sites = access["site"].to_numpy()
    places, place_gap, place_room = _stand(
        rooms, access[["easting_m", "northing_m"]].to_numpy() - origin
    )
    points, point_gap, point_room = _stand(
        rooms, cells[["easting_m", "northing_m"]].to_numpy() - origin, ~cells["whole"].to_numpy()
    )
    for number, polygon in enumerate(rooms):
        here = np.flatnonzero(point_room == number)
        starts = np.flatnonzero(place_room == number)
        if here.size == 0 or starts.size == 0:
            continue
        room = make_room(polygon, np.ascontiguousarray(points[here].T), local, limit_m)
        layout = _layout(cells.iloc[here], point_gap[here])
        height = local.heights_m(*points[here].T)
        here = here.astype(np.int32)
        carried = bool(place_gap[starts].any() or point_gap[here].any())
        costs = walk_room(room, layout, places[starts], limit_m, spread)
        for start, cost in zip(starts, costs, strict=True):
            walk = cost
            if local.climb_weight:
                rise = height - local.heights_m(places[start, :1], places[start, 1:])
                walk = local.worse_trip_m(cost, rise)
            if carried:
                walk = (walk + point_gap[here] + place_gap[start]).astype(np.float32)
            near = np.flatnonzero(walk <= limit_m)
            yield _Walks(int(sites[start]), here[near], walk[near].astype(np.float32))


def _rooms(paddock: shapely.Geometry) -> list[shapely.Polygon]:
    """Split a paddock into pieces between which there is no way, 1 mm clear of every fence."""
    walkable = shapely.buffer(paddock, -FENCE_M, join_style="mitre")
    rooms = [part for part in shapely.get_parts(walkable) if part.area > 0]
    return rooms or list(shapely.get_parts(paddock))


def _stand(
    rooms: Sequence[shapely.Polygon], points: FloatArray, doubtful: BoolArray | None = None
) -> tuple[FloatArray, FloatArray, IntArray]:
    """Carry points to the nearest room: where they stand, how far they were moved, which room.

    Points that are not ``doubtful`` are known to lie in a room.
    """
    at, gap = points.copy(), np.zeros(len(points))
    room = np.zeros(len(points), dtype=np.intp)
    if len(rooms) > 1:
        room = np.asarray(shapely.STRtree(rooms).nearest(shapely.points(points)))
    for number, polygon in enumerate(rooms):
        shapely.prepare(polygon)
        here = np.flatnonzero(room == number if doubtful is None else (room == number) & doubtful)
        geometry = shapely.points(points[here])
        out = ~shapely.covers(polygon, geometry)
        way = shapely.get_coordinates(shapely.shortest_line(geometry[out], polygon))
        at[here[out]] = way[1::2]
        gap[here[out]] = np.hypot(*(way[1::2] - way[::2]).T)
    return at, np.where(gap > 2 * FENCE_M, gap, 0.0), room


def _layout(cells: pd.DataFrame, gap: FloatArray) -> Layout:
    row, column = cells["row"].to_numpy(), cells["column"].to_numpy()
    first = int(row.min()), int(column.min())
    shape = int(row.max()) - first[0] + 1, int(column.max()) - first[1] + 1
    cell_at = np.full(shape, -1, dtype=np.intp)
    whole = np.zeros(shape, dtype=bool)
    centred = np.flatnonzero(cells["centred"].to_numpy() & (gap == 0))
    cell_at[row[centred] - first[0], column[centred] - first[1]] = centred
    inner = cells["whole"].to_numpy()
    whole[row[inner] - first[0], column[inner] - first[1]] = True
    return Layout(cell_at, whole, first)


def _cell_table(grazed: Sequence[int], tables: Sequence[pd.DataFrame]) -> pd.DataFrame:
    columns = ["easting_m", "northing_m", "area_m2"]
    if not tables:
        return pd.DataFrame({"paddock": pd.Series(dtype=np.intp), **dict.fromkeys(columns, 0.0)})
    cells = pd.concat([table[columns] for table in tables], ignore_index=True)
    cells.insert(0, "paddock", np.repeat(grazed, [len(table) for table in tables]))
    return cells


def _matrix(walks: Sequence[_Walks], shape: tuple[int, int]) -> sp.csr_array:
    if not walks:
        return sp.csr_array(shape, dtype=np.float32)
    ordered = sorted(walks, key=lambda walk: walk.site)  # stable: paddocks stay in order
    sizes = np.bincount(
        [walk.site for walk in ordered],
        weights=[walk.cell.size for walk in ordered],
        minlength=shape[0],
    )
    metres = np.concatenate([walk.walk_m for walk in ordered])
    np.maximum(metres, np.float32(LEAST_WALK_M), out=metres)
    cell = np.concatenate([walk.cell for walk in ordered])
    starts = np.concatenate([[0], np.cumsum(sizes.astype(np.int64))])
    return sp.csr_array((metres, cell, starts), shape=shape)
