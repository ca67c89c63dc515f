"""The grid of a map: ticks with coordinates round the frame, crosses inside, grid north."""

from __future__ import annotations

import math

import numpy as np
import pyproj
import shapely
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection

from dewpond.base.surface import FloatArray
from dewpond.outputs.drawing import lettering as letter
from dewpond.outputs.drawing.plan_sheet.page import Page
from dewpond.outputs.drawing.plan_sheet.paper import Extent
from dewpond.outputs.drawing.scales import round_up
from dewpond.outputs.drawing.symbols import Style

_LEAST_SPACING_MM = 30.0
CROSS_MM, _TICK_MM = 1.5, 1.5
_SIZE_PT = 5.2
_STEPS = (1, 2, 5, 10)


def grid_interval_m(scale: float, enlarged: float) -> float:
    """Return the round distance [m] between lines of the grid."""
    return round_up(_LEAST_SPACING_MM * enlarged * scale / 1000, _STEPS)


def draw_crosses(axes: Axes, extent: Extent, scale: float, interval_m: float) -> None:
    """Draw a small cross at every meeting of grid lines, in metres of the map."""
    arm = CROSS_MM * scale / 1000
    x, y = (side.ravel() for side in np.meshgrid(*_lines(extent, interval_m)))
    across = np.stack([np.column_stack([x - arm, y]), np.column_stack([x + arm, y])], axis=1)
    up = np.stack([np.column_stack([x, y - arm]), np.column_stack([x, y + arm])], axis=1)
    axes.add_collection(
        LineCollection(
            list(np.concatenate([across, up])), colors=letter.INK, linewidths=0.3, zorder=2.4
        ),
        autolim=False,
    )


def crosses(extent: Extent, interval_m: float) -> list[shapely.Point]:
    """Return where grid lines meet within a map."""
    x, y = (side.ravel() for side in np.meshgrid(*_lines(extent, interval_m)))
    return list(shapely.points(x, y))


def draw_frame(page: Page, frame_mm: Extent, extent: Extent, interval_m: float) -> None:
    """Draw the frame of a map with ticks and coordinates [m] on all four sides."""
    left, foot, right, top = frame_mm
    page.box(frame_mm, 0.9)
    large = page.paper.enlarged
    out, size = _TICK_MM, _SIZE_PT * large
    easting, northing = _lines(extent, interval_m)
    x = left + (easting - extent[0]) / (extent[2] - extent[0]) * (right - left)
    y = foot + (northing - extent[1]) / (extent[3] - extent[1]) * (top - foot)
    page.lines([line for at in x for line in ([(at, foot), (at, foot - out)],
                                              [(at, top), (at, top + out)])])  # fmt: skip
    page.lines([line for at in y for line in ([(left, at), (left - out, at)],
                                              [(right, at), (right + out, at)])])  # fmt: skip
    clear = 8.0 * large  # a figure at a corner would stick out of the frame
    for at, value in zip(x, easting, strict=True):
        if left + clear < at < right - clear:
            page.text(at, foot - out - 0.4, f"{value:.0f} E", size, ha="center", va="top")
            page.text(at, top + out + 0.4, f"{value:.0f} E", size, ha="center", va="bottom")
    for at, value in zip(y, northing, strict=True):
        if foot + clear < at < top - clear:
            upright: Style = {"rotation": 90, "va": "center", "rotation_mode": "default"}
            page.text(left - out - 0.4, at, f"{value:.0f} N", size, ha="right", **upright)
            page.text(right + out + 0.4, at, f"{value:.0f} N", size, ha="left", **upright)


def grid_north_degrees(crs: pyproj.CRS, extent: Extent) -> float:
    """Return the true bearing of grid north at the centre of a map: positive east of true north.

    Parameters
    ----------
    crs : CRS
        Projected.
    extent : tuple of float
        West, south, east, north in that CRS.

    Notes
    -----
    The meridian convergence of PROJ (``proj_factors``), which holds for conformal and other
    projections alike.
    """
    x, y = (extent[0] + extent[2]) / 2, (extent[1] + extent[3]) / 2
    geodetic = crs.geodetic_crs
    longitude, latitude = pyproj.Transformer.from_crs(crs, geodetic, always_xy=True).transform(
        x, y
    )
    factors = pyproj.Proj(crs).get_factors(longitude, latitude)
    return float(factors.meridian_convergence)


def _lines(extent: Extent, interval_m: float) -> tuple[FloatArray, FloatArray]:
    west, south, east, north = extent
    x, y = (
        interval_m * np.arange(math.ceil(low / interval_m), math.floor(high / interval_m) + 1.0)
        for low, high in ((west, east), (south, north))
    )
    return x, y
