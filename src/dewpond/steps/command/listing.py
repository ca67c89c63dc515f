"""The places for a tank as a table, each with its head to spare and its chance."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
import shapely

from dewpond.base.heighterror import HeightError
from dewpond.base.model import Holding
from dewpond.base.progress import StageProgress
from dewpond.base.settings import Project
from dewpond.base.surface import FloatArray, Grid
from dewpond.base.words import words
from dewpond.steps.command.chance import doubt_of
from dewpond.steps.command.paddocks import IntArray
from dewpond.steps.command.tanks import (
    APART_M,
    TankPlaces,
    TankSearch,
    near_paddocks,
    search_tanks,
    spread,
    ways_from,
)
from dewpond.steps.command.ways import Grade
from dewpond.steps.command.window import centres_of

COLUMNS = (
    "name", "easting_m", "northing_m", "paddock", "ground_level_m", "water_level_m", "pipe_m",
    "farthest_m", "spare_m", "chance", "highest_static_head_m", "over_class", "lowest",
    "nearest", "instead",
)  # fmt: skip

# The search takes every so-many-th cell of the ground, so that it looks at no more than this.
_MOST_PLACES, _MOST_TARGETS = 20_000, 2_000
_FEWEST_TARGETS = 25  # in each paddock, or all cells of one that has fewer


def list_tanks(
    project: Project,
    holding: Holding,
    chosen: Sequence[int],
    ground: Grid,
    cells: Sequence[IntArray],
    grade: Grade,
    error: HeightError,
    allowed_m: float,
    progress: StageProgress,
) -> tuple[pd.DataFrame, list[str]]:
    """Return the table of `CommandGround.tanks`, and what the reader should know of it."""
    wanted = project.command_area.tank_sites
    if not wanted:
        return pd.DataFrame(columns=list(COLUMNS)), []
    progress("places for a tank", 0.0)
    search = _search(project, holding, chosen, ground, cells, grade)
    places = search_tanks(search, wanted - 1, lambda share: progress("places for a tank", share))
    progress("places for a tank", 1.0)
    if not places.place.size:
        return pd.DataFrame(columns=list(COLUMNS)), [_none(project, search, places)]
    listed, on_front = _listed(search, places, wanted)
    rows = [
        _row(number, int(places.place[i]), float(places.pipe_m[i]), holding, search, error,
             allowed_m)
        for number, i in enumerate(listed, start=1)
    ]  # fmt: skip
    table = pd.DataFrame(rows, index=range(1, len(rows) + 1))
    table["lowest"] = table.index == table["water_level_m"].idxmin()
    table["nearest"] = table.index == table["pipe_m"].idxmin()
    table["instead"] = table.index > on_front
    notes = []
    if len(table) < wanted:
        notes.append(words("command.fewer_tanks", found=len(table), wanted=wanted))
    return table[list(COLUMNS)], notes


def _listed(search: TankSearch, places: TankPlaces, wanted: int) -> tuple[list[int], int]:
    """Return which places to list, and how many of them are on the front.

    Both ends of the front, the lowest and the nearest; of those between, some well apart from
    them and each other; then the places to be had instead.
    """
    spots = search.places[places.place]
    last = places.front - 1
    kept = [0] if last <= 0 or wanted == 1 else [0, last]
    for i in range(1, last):
        if np.hypot(*(spots[i] - spots[kept]).T).min() >= APART_M:
            kept.append(i)
    kept.sort()
    front = [kept[i] for i in spread(len(kept), wanted)]
    others = [
        i
        for i in range(places.front, places.place.size)
        if np.hypot(*(spots[i] - spots[front]).T).min() >= APART_M
    ]
    return [*front, *others][:wanted], len(front)


def _search(
    project: Project,
    holding: Holding,
    chosen: Sequence[int],
    ground: Grid,
    cells: Sequence[IntArray],
    grade: Grade,
) -> TankSearch:
    """Return what is searched for: places round the chosen paddocks, and all their ground."""
    supply, features = project.supply, holding.features
    shapes = [holding.paddocks.geometry.loc[label] for label in chosen]
    centres, heights = centres_of(ground), ground.values.ravel()
    barred = [*features.keep_out.geometry, *features.forbidden_ground.geometry]
    near = np.flatnonzero(near_paddocks(centres, shapes, supply.tank_search_m, barred))
    places = near[np.isin(near, _thinned(ground, near.size, _MOST_PLACES))]
    targets, owner = _targets(holding, chosen, ground, cells)
    points = shapely.get_coordinates([shape.representative_point() for shape in shapes])
    return TankSearch(
        ground, centres[places], heights[places] + supply.tank_water_above_ground_m,
        centres[targets], heights[targets], owner, points, grade, supply.tank_margin_m,
        project.command_area.share_wanted,
    )  # fmt: skip


def _targets(
    holding: Holding, chosen: Sequence[int], ground: Grid, cells: Sequence[IntArray]
) -> tuple[IntArray, IntArray]:
    """Return cells that stand for the ground of the chosen paddocks, and the paddock of each.

    Ground without a height counts too: a place that it hides from serves so much less.
    """
    position = {int(label): i for i, label in enumerate(holding.paddocks.index)}
    own = [cells[position[label]] for label in chosen]
    lattice = _thinned(ground, sum(part.size for part in own), _MOST_TARGETS)
    kept = []
    for part in own:
        thin = part[np.isin(part, lattice)]
        if thin.size < _FEWEST_TARGETS:
            every = np.linspace(0, part.size - 1, min(part.size, _FEWEST_TARGETS))
            thin = part[np.unique(every.round().astype(np.intp))]
        kept.append(thin)
    owner = np.repeat(np.arange(len(kept)), [part.size for part in kept])
    return np.concatenate(kept), owner


def _thinned(ground: Grid, count: int, most: int) -> IntArray:
    """Return every so-many-th cell along rows and columns, so that about `most` of them are."""
    rows, columns = ground.values.shape
    step = int(np.ceil(np.sqrt(max(count / most, 1.0))))
    row, column = np.arange(0, rows, step), np.arange(0, columns, step)
    return np.asarray((row[:, None] * columns + column[None, :]).ravel(), dtype=np.intp)


def _row(
    number: int,
    place: int,
    tree_m: float,
    holding: Holding,
    search: TankSearch,
    error: HeightError,
    allowed_m: float,
) -> dict[str, object]:
    easting, northing = (float(value) for value in search.places[place])
    level = float(search.place_level_m[place])
    doubt = doubt_of(
        error, search.ground, (easting, northing), holding.known_levels, level_known=False
    )
    ways = ways_from(search, np.array([place]), doubt)
    highest = float(np.nanmax(ways.highest_static_head_m))
    factor = search.grade.length_factor
    return {
        "name": f"tank site {number}",
        "easting_m": easting,
        "northing_m": northing,
        "paddock": _paddock_at(holding, easting, northing),
        "ground_level_m": _ground_at(search, easting, northing),
        "water_level_m": level,
        "pipe_m": tree_m * factor,
        "farthest_m": float(np.nanmax(ways.length_m)) * factor,
        "spare_m": float(search.weakest(ways.spare_m[None, :])[0]),
        "chance": float(search.weakest(ways.chance[None, :])[0]),
        "highest_static_head_m": highest,
        "over_class": highest > allowed_m,
    }


def _ground_at(search: TankSearch, easting: float, northing: float) -> float:
    transform = search.ground.transform
    column = int((easting - transform.c) / transform.a)
    row = int((northing - transform.f) / transform.e)
    return float(search.ground.values[row, column])


def _paddock_at(holding: Holding, easting: float, northing: float) -> str:
    inside: FloatArray = shapely.contains_xy(
        holding.paddocks.geometry.to_numpy(), easting, northing
    )
    return str(holding.paddocks["name"].iloc[int(np.argmax(inside))]) if inside.any() else ""


def _none(project: Project, search: TankSearch, places: TankPlaces) -> str:
    supply = project.supply
    if np.isinf(places.lacking_m):
        return words("command.no_tank_ground", search_m=supply.tank_search_m)
    if np.isnan(places.lacking_m):
        return words("command.no_tank_over", search_m=supply.tank_search_m)
    return words(
        "command.no_tank", search_m=supply.tank_search_m, lacking_m=places.lacking_m,
        margin_m=search.margin_m,
    )  # fmt: skip
