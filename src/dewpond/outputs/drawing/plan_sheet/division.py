"""Which paper, which scale, and how a holding is divided among sheets."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely

from dewpond.base.model import Plan
from dewpond.outputs.drawing.plan_sheet.paper import (
    PAPERS,
    Extent,
    Paper,
    round_scales,
)

Layers = Mapping[str, gpd.GeoDataFrame]

PADDOCK_MM, OUTLETS_MM = 30.0, 6.0
"""A scale is legible when half the ground lies in paddocks this far across (root of their area)
and three outlets in four stand this far from the next one; common practice, no source."""
MOST_SHEETS = 60
"""No more sheets of map than this: beyond it the next smaller round scale is taken."""
_BARE_MM = 6.0
"""Paper left free round all that must be seen."""
_OVERLAP_MM = 20.0
"""Ground that two neighbouring sheets both show, half of it beyond the match line."""
_SEEN = ("paddock", "pipe", "outlet")


@dataclass(frozen=True)
class Tile:
    """The map of one sheet.

    Attributes
    ----------
    number : int
        Number of its sheet, from 1.
    extent_m : tuple of float
        West, south, east, north of the frame in the working CRS.
    own_m : tuple of float
        The part within its match lines; parts of all tiles never overlap.
    neighbours : mapping of str to int
        Number of the sheet beyond each side, ``west``, ``south``, ``east``, ``north``, where
        there is one.
    """

    number: int
    extent_m: Extent
    own_m: Extent
    neighbours: Mapping[str, int]


@dataclass(frozen=True)
class Division:
    """Paper, scale and the maps of a set of sheets.

    ``asked`` is the scale of the settings where it could not be kept, else None.
    """

    paper: Paper
    scale: float
    tiles: tuple[Tile, ...]
    asked: int | None = None


def divide(plan: Plan, layers: Layers) -> Division:
    """Choose paper and scale, and divide the holding among as many sheets as it takes.

    Paper and scale of ``[documents]`` are kept. Where no paper is set, it is the smallest that
    shows the whole holding on one sheet at a legible scale; where no scale is set, it is the
    largest round one at which that is so. A holding that is too large for one sheet at a legible
    scale is divided, on the paper that is set, else the largest.

    Parameters
    ----------
    plan : Plan
    layers : mapping of str to GeoDataFrame
        Features of the plan by kind, in its working CRS.
    """
    settings = plan.project.documents
    bounds = seen_bounds(layers)
    scales = round_scales(settings.units)
    if settings.scale is not None:
        return _at_scale(bounds, layers, settings.paper, settings.scale, scales)
    legible = legible_scale(layers, scales)
    papers = [PAPERS[settings.paper]] if settings.paper else list(PAPERS.values())
    for paper in papers:
        fitting = [scale for scale in scales if scale <= legible and _fits(bounds, paper, scale)]
        if fitting:
            return Division(paper, fitting[0], _tiles(bounds, layers, paper, fitting[0]))
    return _limited(bounds, layers, papers[-1], legible, scales)


def seen_bounds(layers: Layers) -> Extent:
    """Return the bounds [m] of what must be seen: paddocks, pipe, outlets, the source in use."""
    source = layers["source"].geometry[layers["source"]["feeds_scheme"].to_numpy(bool)]
    boxes = np.array([*(layers[kind].total_bounds for kind in _SEEN), source.total_bounds])
    west, south = np.nanmin(boxes[:, :2], axis=0)
    east, north = np.nanmax(boxes[:, 2:], axis=0)
    return float(west), float(south), float(east), float(north)


def legible_scale(layers: Layers, scales: Sequence[int]) -> int:
    """Return the smallest round scale at which paddocks and outlets can still be told apart."""
    area_m2 = np.sort(layers["paddock"].geometry.area.to_numpy(float))[::-1]
    ground_m2 = np.cumsum(area_m2)
    middle_m2 = area_m2[np.searchsorted(ground_m2, ground_m2[-1] / 2)]
    most = float(np.sqrt(middle_m2)) / (PADDOCK_MM / 1000)
    points = shapely.points(shapely.get_coordinates(layers["outlet"].geometry.array))
    if len(points) > 1:
        _, apart = shapely.STRtree(points).query_nearest(
            points, exclusive=True, all_matches=False, return_distance=True
        )
        if len(apart):
            most = min(most, float(np.quantile(apart, 0.25)) / (OUTLETS_MM / 1000))
    return max((scale for scale in scales if scale <= most), default=scales[0])


def _at_scale(
    bounds: Extent, layers: Layers, paper: str | None, scale: int, scales: Sequence[int]
) -> Division:
    papers = [PAPERS[paper]] if paper else list(PAPERS.values())
    chosen = next((one for one in papers if _fits(bounds, one, scale)), papers[-1])
    return _limited(bounds, layers, chosen, scale, scales)


def _limited(
    bounds: Extent, layers: Layers, paper: Paper, scale: int, scales: Sequence[int]
) -> Division:
    """Divide at a scale, or at the next smaller ones while that takes too many sheets."""
    for shown in (scale, *(smaller for smaller in scales if smaller > scale)):
        if math.prod(_counts(bounds, paper, shown)) <= 4 * MOST_SHEETS:
            tiles = _tiles(bounds, layers, paper, shown)
            if len(tiles) <= MOST_SHEETS:
                break
    return Division(paper, shown, tiles, asked=None if shown == scale else scale)


def _frame_m(paper: Paper, scale: float) -> tuple[float, float]:
    left, foot, right, top = paper.map_mm
    return (right - left) * scale / 1000, (top - foot) * scale / 1000


def _counts(bounds: Extent, paper: Paper, scale: float) -> tuple[int, int]:
    """Return how many sheets it takes, across and up."""
    sides = (bounds[2] - bounds[0], bounds[3] - bounds[1])
    bare, overlap = 2 * _BARE_MM * scale / 1000, _OVERLAP_MM * scale / 1000
    across, up = (
        max(math.ceil((side + bare - overlap) / (frame - overlap) - 1e-9), 1)
        for side, frame in zip(sides, _frame_m(paper, scale), strict=True)
    )
    return across, up


def _fits(bounds: Extent, paper: Paper, scale: float) -> bool:
    return _counts(bounds, paper, scale) == (1, 1)


def _tiles(bounds: Extent, layers: Layers, paper: Paper, scale: float) -> tuple[Tile, ...]:
    """Return the maps row by row from the north-west; none where there is nothing to show."""
    shown = shapely.STRtree(
        [shape for kind in _SEEN for shape in layers[kind].geometry]
        + list(layers["source"].geometry[layers["source"]["feeds_scheme"].to_numpy(bool)])
    )
    cells = {
        place: (extent, own)
        for place, extent, own in _cells(bounds, paper, scale)
        if len(shown.query(shapely.box(*own), predicate="intersects"))
    }
    numbers = {place: number for number, place in enumerate(cells, start=1)}
    beside = {"west": (0, -1), "south": (1, 0), "east": (0, 1), "north": (-1, 0)}
    return tuple(
        Tile(
            numbers[row, column],
            extent,
            own,
            {
                side: numbers[row + down, column + right]
                for side, (down, right) in beside.items()
                if (row + down, column + right) in numbers
            },
        )
        for (row, column), (extent, own) in cells.items()
    )


def _cells(
    bounds: Extent, paper: Paper, scale: float
) -> Iterator[tuple[tuple[int, int], Extent, Extent]]:
    """Yield row and column, frame and own part of every sheet, the rows from the north."""
    across, up = _counts(bounds, paper, scale)
    wide, tall = _frame_m(paper, scale)
    overlap = _OVERLAP_MM * scale / 1000
    step_x, step_y = wide - overlap, tall - overlap
    west = (bounds[0] + bounds[2] - step_x * across - overlap) / 2
    north = (bounds[1] + bounds[3] + step_y * up + overlap) / 2
    for row in range(up):
        for column in range(across):
            left, top = west + column * step_x, north - row * step_y
            extent = (left, top - tall, left + wide, top)
            half = overlap / 2
            own = (
                left + half * (column > 0),
                top - tall + half * (row < up - 1),
                left + wide - half * (column < across - 1),
                top - half * (row > 0),
            )
            yield (row, column), extent, own
