"""What lies beneath the lines of a map: hillshade, contours, bands of walking distance."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np
import numpy.typing as npt
import shapely
from matplotlib.axes import Axes
from matplotlib.colors import LightSource
from matplotlib.contour import ContourSet
from matplotlib.patches import PathPatch
from scipy import ndimage

from dewpond.base.model import Plan
from dewpond.base.surface import FloatArray, Surface
from dewpond.outputs.drawing import lettering as letter
from dewpond.outputs.drawing.labels import FreeSpace
from dewpond.outputs.drawing.scales import round_up
from dewpond.outputs.drawing.shapes import path_of

_MOST_CELLS = 400
_PAD_CELLS = 2
_CONTOURS_WANTED = 12
_LABEL_TRIES = 24

Window = tuple[FloatArray, FloatArray, FloatArray]
"""Eastings (columns,), northings (rows,) from the north, and values (rows, columns)."""
ContourLines = list[tuple[float, shapely.Geometry]]
"""Contours as levels and lines."""


def sample_ground(surface: Surface, extent_m: tuple[float, float, float, float]) -> Window:
    """Return heights over a whole map, at the posting of the data or what paper can show.

    Parameters
    ----------
    surface : Surface
    extent_m : tuple of float
        West, south, east, north in the CRS of the surface.
    """
    west, south, east, north = extent_m
    step = max(surface.posting_m / 2, max(east - west, north - south) / _MOST_CELLS)
    x = np.arange(west, east + step, step)
    y = np.arange(north, south - step, -step)
    return x, y, surface.heights_m(*np.meshgrid(x, y))


def draw_hillshade(axes: Axes, window: Window) -> float:
    """Shade the relief lightly, lit from the north-west, so that all else stays readable.

    Returns
    -------
    float
        Mean grey of the relief, 0 black to 1 white: what lies under a colour laid over it.
    """
    x, y, values = window
    if not np.isfinite(values).any() or min(values.shape) < 2:
        return 1.0
    step_x, step_y = abs(x[1] - x[0]), abs(y[1] - y[0])
    light = LightSource(azdeg=315, altdeg=45).hillshade(
        _filled(values), vert_exag=2.0, dx=step_x, dy=step_y
    )
    grey = np.ma.masked_array(0.78 + 0.22 * light, ~np.isfinite(values))
    axes.imshow(
        grey,
        cmap="gray",
        vmin=0,
        vmax=1,
        interpolation="bilinear",
        origin="upper",
        aspect="auto",
        extent=(
            x[0] - step_x / 2,
            x[-1] + step_x / 2,
            y[-1] - step_y / 2,
            y[0] + step_y / 2,
        ),
        zorder=0,
    )
    return float(grey.mean())


def draw_height_contours(
    axes: Axes, window: Window, unit_m: float = 1.0
) -> tuple[ContourSet, float] | None:
    """Draw contours of the ground at a round interval; None on level ground.

    Parameters
    ----------
    axes : Axes
    window : Window
    unit_m : float, default 1.0
        Length of the unit in which the interval is round [m].

    Returns
    -------
    ContourSet
        Levels in metres.
    float
        Interval in that unit.
    """
    x, y, values = window
    seen = values[np.isfinite(values)]
    if min(values.shape) < 2 or not len(seen) or np.ptp(seen) < 0.5:
        return None
    interval = max(round_up(float(np.ptp(seen)) / unit_m / _CONTOURS_WANTED), 0.5)
    step_m = interval * unit_m
    first, last = math.ceil(seen.min() / step_m), math.floor(seen.max() / step_m)
    if last < first:
        return None
    lines = axes.contour(
        x,
        y,
        np.ma.masked_invalid(values),
        levels=step_m * np.arange(first, last + 1),
        colors=[letter.MUTED],
        linewidths=0.4,
        alpha=0.6,
        zorder=2.5,
    )
    return lines, interval


def draw_walk_bands(axes: Axes, plan: Plan, edges_m: Sequence[float], alpha: float) -> None:
    """Fill every paddock by how far its stock walk, each paddock by itself: fences part them."""
    for (x, y, walk), boundary in _paddock_windows(plan):
        bands = axes.contourf(
            x,
            y,
            np.clip(walk, 0, edges_m[-1]),
            levels=list(edges_m),
            colors=letter.walk_shades(len(edges_m) - 1),
            alpha=alpha,
            zorder=1,
        )
        _clip(axes, bands, boundary)


def draw_walk_contours(axes: Axes, plan: Plan, levels_m: Sequence[float]) -> list[ContourLines]:
    """Draw lines of equal walk in every paddock; return what is seen of them, by level."""
    drawn: list[ContourLines] = []
    for (x, y, walk), boundary in _paddock_windows(plan):
        levels = [level for level in levels_m if walk.min() < level < walk.max()]
        if not levels:
            continue
        lines = axes.contour(
            x, y, walk, levels=levels, colors=[letter.INK], linewidths=0.5, alpha=0.7, zorder=2.6
        )
        _clip(axes, lines, boundary)
        drawn.append(
            [(level, line.intersection(boundary)) for level, line in contour_lines(lines)]
        )
    return drawn


def contour_lines(contours: ContourSet) -> ContourLines:
    """Return contours as lines with their levels."""
    return [
        (
            float(level),
            shapely.MultiLineString([np.asarray(part) for part in parts if np.shape(part)[0] > 1]),
        )
        for level, path in zip(contours.levels, contours.get_paths(), strict=True)
        if (parts := path.to_polygons(closed_only=False))
    ]


def label_contours(
    axes: Axes,
    contours: ContourLines,
    space: FreeSpace,
    metres_per_point: float,
    size_pt: float = 5,
    unit_m: float = 1.0,
) -> None:
    """Write the value on each long contour, in a unit of length, where it touches nothing else."""
    for level, lines in contours:
        text = f"{round(level / unit_m, 6):g}"
        width, height = (side * metres_per_point for side in letter.text_size_pt(text, size_pt))
        for line in shapely.get_parts(shapely.line_merge(lines)):
            if line.length > 6 * width:
                _label_line(axes, line, text, size_pt, (width, height), space)


def _label_line(
    axes: Axes,
    line: shapely.LineString,
    text: str,
    size_pt: float,
    size_m: tuple[float, float],
    space: FreeSpace,
) -> None:
    """Write a value along a line, from its middle outwards."""
    shares = 0.5 + np.linspace(0, 0.42, _LABEL_TRIES) * (-1.0) ** np.arange(_LABEL_TRIES)
    at = shapely.line_interpolate_point(line, shares, normalized=True)
    reach = size_m[0] / 2
    before = shapely.line_interpolate_point(line, np.maximum(shares * line.length - reach, 0))
    after = shapely.line_interpolate_point(line, shares * line.length + reach)
    side = float(np.hypot(*size_m)) * 0.9
    found = space.first_free(shapely.get_x(at), shapely.get_y(at), side, side)
    if found is None:
        return
    i = int(np.argmin(np.hypot(shapely.get_x(at) - found[0], shapely.get_y(at) - found[1])))
    angle = math.degrees(math.atan2(after[i].y - before[i].y, after[i].x - before[i].x))
    axes.text(
        *found,
        text,
        rotation=(angle + 90) % 180 - 90,
        rotation_mode="anchor",
        ha="center",
        va="center",
        fontproperties=letter.font(size_pt),
        color=letter.MUTED,
        path_effects=letter.halo(1.5),
        zorder=2.7,
        clip_on=True,
    )


def _paddock_windows(plan: Plan) -> Iterator[tuple[Window, shapely.Geometry]]:
    """Yield the walk [m] over each paddock on its own grid, carried on past its fence.

    The values go on beyond the boundary, and under ground out of reach, so that the drawing can
    be cut clean at the fence; ground out of reach is drawn over it.
    """
    cells, cell_m = plan.reach.cells, plan.terrain.cell_m
    column = np.floor(cells["easting_m"].to_numpy() / cell_m).astype(np.intp)
    row = np.floor(cells["northing_m"].to_numpy() / cell_m).astype(np.intp)
    owner = cells["paddock"].to_numpy()
    for paddock in np.unique(owner):
        chosen = (owner == paddock) & np.isfinite(plan.siting.walk_m)
        if not chosen.any():
            continue
        own_column, own_row = column[chosen], row[chosen]
        first_column, first_row = own_column.min() - _PAD_CELLS, own_row.min() - _PAD_CELLS
        values = np.full(
            (
                own_row.max() - first_row + _PAD_CELLS + 1,
                own_column.max() - first_column + _PAD_CELLS + 1,
            ),
            np.nan,
        )
        place = (own_row - first_row, own_column - first_column)
        np.fmin.at(values, place, plan.siting.walk_m[chosen])
        x = (first_column + np.arange(values.shape[1]) + 0.5) * cell_m
        y = (first_row + np.arange(values.shape[0]) + 0.5) * cell_m
        yield (x, y, _filled(values)), plan.holding.paddocks.geometry.loc[paddock]


def _filled(values: FloatArray) -> FloatArray:
    """Return values with each unknown one replaced by its nearest known neighbour."""
    unknown: npt.NDArray[np.bool_] = ~np.isfinite(values)
    nearest = ndimage.distance_transform_edt(unknown, return_distances=False, return_indices=True)
    return np.asarray(values[tuple(nearest)], dtype=float)


def _clip(axes: Axes, drawn: ContourSet, boundary: shapely.Geometry) -> None:
    drawn.set_clip_path(PathPatch(path_of([boundary]), transform=axes.transData))
