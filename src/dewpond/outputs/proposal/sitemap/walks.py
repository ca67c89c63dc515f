"""Walking distance as plain polygons: contoured in every paddock by itself, for fences part it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
import shapely
from matplotlib.figure import Figure
from scipy import ndimage

from dewpond.base.model import Plan
from dewpond.base.surface import FloatArray
from dewpond.outputs.proposal.sitemap.frame import Frame

_PAD_CELLS = 2
_STEPS = (1, 2, 2.5, 4, 5, 6, 7.5, 10)
SHADES = 6
"""Shades of the ramp in the style sheet, from near to far."""
_SHADES_OF = {1: (1,), 2: (0, 3), 3: (0, 2, 4), 4: (0, 1, 3, 5), 5: (0, 1, 2, 4, 5)}


class Band(NamedTuple):
    """Ground within a walk: from near to far [m], number of its shade, and its path.

    The path holds all ground up to `far_m`; the band before it is drawn over it.
    """

    near_m: float
    far_m: float
    shade: int
    path: str


def draw_walks(plan: Plan, frame: Frame, unit_m: float = 1.0) -> list[Band]:
    """Return the bands of walking distance, the farthest first, in the order of drawing.

    Parameters
    ----------
    plan : Plan
    frame : Frame
    unit_m : float, default 1.0
        Length of the unit in which the edges of the bands are round [m].
    """
    edges = [edge * unit_m for edge in walk_edges(plan.reach.limit_m / unit_m)]
    shades = _SHADES_OF.get(len(edges) - 1, tuple(range(SHADES)))
    paths: list[list[str]] = [[] for _ in edges[1:]]
    for window, boundary in _windows(plan):
        for number, shape in enumerate(_nested(window, boundary, edges)):
            paths[number].append(frame.path(shape, 2 * frame.finest_m))
    bands = [
        Band(near, far, shade, "".join(path))
        for near, far, shade, path in zip(edges, edges[1:], shades, paths, strict=False)
    ]
    return [band for band in reversed(bands) if band.path]


def walk_edges(limit: float) -> list[float]:
    """Return the edges of the bands: about five of one round width, from 0 to the limit.

    >>> walk_edges(400.0)
    [0.0, 100.0, 200.0, 300.0, 400.0]
    """
    power = 10.0 ** math.floor(math.log10(limit / 5))
    step = next(s * power for s in _STEPS if s * power >= limit / 5 * (1 - 1e-9))
    edges = [step * i for i in range(math.ceil(limit / step - 1e-9))]
    if len(edges) > 1 and limit - edges[-1] < step / 4:
        edges.pop()
    return [*edges, limit]


Window = tuple[FloatArray, FloatArray, FloatArray]
"""Eastings (columns,), northings (rows,) and the walk [m] (rows, columns)."""


def _nested(
    window: Window, boundary: shapely.Geometry, edges_m: list[float]
) -> list[shapely.Geometry]:
    """Return the ground within each edge but the first; the last holds the whole paddock."""
    x, y, walk = window
    inner = np.array(edges_m[1:-1])
    shapes = [shapely.Polygon()] * len(inner)
    axes = Figure().add_subplot()
    for number, edge in enumerate(inner.tolist()):
        if walk.min() < edge < walk.max():
            drawn = axes.contourf(x, y, walk, levels=[-1.0, edge])
            found = [ring for path in drawn.get_paths() for ring in path.to_polygons()]
            rings = [np.asarray(ring, dtype=float) for ring in found]
            lines = shapely.MultiLineString([ring for ring in rings if len(ring) > 3])
            shapes[number] = shapely.build_area(lines).intersection(boundary)
        elif walk.max() <= edge:
            shapes[number] = boundary
    return [*shapes, boundary]


def _windows(plan: Plan) -> Iterator[tuple[Window, shapely.Geometry]]:
    """Yield the walk over each paddock on its own grid, carried on past its fence.

    Values go on beyond the boundary, and under ground out of reach, so that shapes can be cut
    clean at the fence; ground out of reach is drawn over them.
    """
    cells, cell_m = plan.reach.cells, plan.terrain.cell_m
    column = np.floor(cells["easting_m"].to_numpy() / cell_m).astype(np.intp)
    row = np.floor(cells["northing_m"].to_numpy() / cell_m).astype(np.intp)
    owner, walk = cells["paddock"].to_numpy(), plan.siting.walk_m
    known = np.isfinite(walk)
    for paddock in np.unique(owner[known]):
        chosen = (owner == paddock) & known
        first_column, first_row = column[chosen].min(), row[chosen].min()
        size = (
            row[chosen].max() - first_row + 2 * _PAD_CELLS + 1,
            column[chosen].max() - first_column + 2 * _PAD_CELLS + 1,
        )
        values = np.full(size, np.nan)
        place = (row[chosen] - first_row + _PAD_CELLS, column[chosen] - first_column + _PAD_CELLS)
        np.fmin.at(values, place, walk[chosen])
        x = (first_column - _PAD_CELLS + np.arange(size[1]) + 0.5) * cell_m
        y = (first_row - _PAD_CELLS + np.arange(size[0]) + 0.5) * cell_m
        yield (x, y, _filled(values)), plan.holding.paddocks.geometry.loc[paddock]


def _filled(values: FloatArray) -> FloatArray:
    """Return values with each unknown one replaced by its nearest known neighbour."""
    nearest = ndimage.distance_transform_edt(
        ~np.isfinite(values), return_distances=False, return_indices=True
    )
    return np.asarray(values[tuple(nearest)], dtype=float)
