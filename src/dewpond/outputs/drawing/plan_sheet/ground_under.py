"""What lies beneath a map: hillshade as a picture, contours as lines."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import LightSource
from scipy import ndimage

from dewpond.base.surface import FloatArray, Surface
from dewpond.outputs.drawing import ground
from dewpond.outputs.drawing import lettering as letter
from dewpond.outputs.drawing.plan_sheet.paper import Extent
from dewpond.outputs.drawing.scales import round_up

_MOST_CELLS = 900
"""Cells along the longer side of a map: finer than paper can show of a sheet of A4."""
_PICTURE_CELLS = 1400
_TONES = 128
_DARKEST = 0.80
_CONTOURS_WANTED, _CLOSEST = 12, 0.5


@dataclass(frozen=True, eq=False)
class Window:
    """Heights over a map, rows from the north; NaN where nothing is known."""

    x: FloatArray
    y: FloatArray
    height_m: FloatArray


def sample_window(surface: Surface, extent: Extent) -> Window:
    """Return heights at half the posting of the data, or what paper can show."""
    west, south, east, north = extent
    longer = max(east - west, north - south)
    step = max(surface.posting_m / 2, longer / _MOST_CELLS)
    x = np.linspace(west, east, max(math.ceil((east - west) / step), 2) + 1)
    y = np.linspace(north, south, max(math.ceil((north - south) / step), 2) + 1)
    return Window(x, y, surface.heights_m(*np.meshgrid(x, y)))


def draw_hillshade(axes: Axes, window: Window) -> None:
    """Shade the relief lightly, lit from the north-west: the one picture on a sheet.

    Tones are few and the picture is no finer than its data ask, so that the file stays small.
    """
    values = window.height_m
    known = np.isfinite(values)
    if not known.any():
        return
    step_x, step_y = abs(window.x[1] - window.x[0]), abs(window.y[1] - window.y[0])
    light = LightSource(azdeg=315, altdeg=45).hillshade(
        _filled(values), vert_exag=2.0, dx=step_x, dy=step_y
    )
    grey = np.where(known, _DARKEST + (1 - _DARKEST) * light, 1.0)
    finer = max(_PICTURE_CELLS // max(grey.shape), 1)
    if finer > 1:
        grey = ndimage.zoom(grey, finer, order=1, mode="nearest", grid_mode=True)
    axes.imshow(
        np.round(grey * _TONES) / _TONES,
        cmap="gray",
        vmin=0,
        vmax=1,
        interpolation="none",
        origin="upper",
        aspect="auto",
        extent=(
            window.x[0] - step_x / 2,
            window.x[-1] + step_x / 2,
            window.y[-1] - step_y / 2,
            window.y[0] + step_y / 2,
        ),
        zorder=0,
    )


def contour_interval(surface: Surface, extent: Extent, factor: float) -> float:
    """Return the round interval of contours for a whole holding, in units of `factor` a metre.

    It is the same on every sheet. Zero where the ground is level or not known.
    """
    seen = sample_window(surface, extent).height_m * factor
    seen = seen[np.isfinite(seen)]
    if not len(seen) or np.ptp(seen) < _CLOSEST:
        return 0.0
    return max(round_up(float(np.ptp(seen)) / _CONTOURS_WANTED), _CLOSEST)


def draw_contours(
    axes: Axes, window: Window, interval: float, factor: float
) -> ground.ContourLines:
    """Draw contours of the ground; return them with their values, in units of `factor` a metre."""
    values = window.height_m * factor
    seen = values[np.isfinite(values)]
    if interval <= 0 or not len(seen):
        return []
    first, last = math.ceil(seen.min() / interval), math.floor(seen.max() / interval)
    if last < first:
        return []
    lines = axes.contour(
        window.x,
        window.y,
        np.ma.masked_invalid(values),
        levels=interval * np.arange(first, last + 1),
        colors=[letter.MUTED],
        linewidths=0.35,
        alpha=0.65,
        zorder=2.5,
    )
    return ground.contour_lines(lines)


def _filled(values: FloatArray) -> FloatArray:
    """Return values with each unknown one replaced by its nearest known neighbour."""
    nearest = ndimage.distance_transform_edt(
        ~np.isfinite(values), return_distances=False, return_indices=True
    )
    return np.asarray(values[tuple(nearest)], dtype=float)
