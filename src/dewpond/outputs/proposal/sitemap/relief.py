"""The ground under the map: relief as a small picture, and contours."""

from __future__ import annotations

import base64
import io
import math
from typing import NamedTuple

import numpy as np
import shapely
from matplotlib.colors import LightSource
from matplotlib.figure import Figure
from matplotlib.image import imsave
from scipy import ndimage

from dewpond.base.surface import FloatArray, Surface
from dewpond.outputs.proposal.sitemap.frame import Frame

_MOST_CELLS = 420
"""Along the longer side: relief is soft, and more would only make the file larger."""
_GREYS = 28
_DARKEST, _LIGHTEST = 0.80, 1.0
_CONTOURS_WANTED = 12
_LEVEL_GROUND_M = 0.5
_LEAST_INTERVAL = 0.5
_STEPS = (1.0, 2.0, 5.0, 10.0)
_SHORTEST_CONTOUR = 0.04
"""Share of the width of the map; shorter ones are noise at this size."""


class Picture(NamedTuple):
    """A picture that lies in the page itself, with its place on the drawing."""

    address: str
    x: float
    y: float
    width: float
    height: float


class Contour(NamedTuple):
    """A contour of the ground: its level, its path and places to write the level."""

    level: float
    path: str
    places: list[tuple[float, float]]


class Relief(NamedTuple):
    """Hillshade, contours and their interval, in the unit asked for."""

    picture: Picture | None
    contours: list[Contour]
    interval: float


def draw_relief(surface: Surface, frame: Frame, unit_m: float = 1.0) -> Relief:
    """Return the ground under the map; nothing of it where no height is known.

    Parameters
    ----------
    surface : Surface
    frame : Frame
    unit_m : float, default 1.0
        Length of the unit of the contours [m]: 0.3048 for feet.
    """
    west, south, east, north = frame.extent_m
    # Never finer than the data: between two postings there is nothing to see but stripes.
    step = max(surface.posting_m, max(east - west, north - south) / _MOST_CELLS)
    x, y = np.arange(west, east + step, step), np.arange(north, south - step, -step)
    heights = surface.heights_m(*np.meshgrid(x, y))
    known = heights[np.isfinite(heights)]
    if min(heights.shape) < 2 or not len(known):
        return Relief(None, [], 0.0)
    picture = Picture(
        _shaded(heights, step), *(frame.place(x[0] - step / 2, y[0] + step / 2)),
        round(len(x) * step, 2), round(len(y) * step, 2),
    )  # fmt: skip
    if np.ptp(known) < _LEVEL_GROUND_M:
        return Relief(picture, [], 0.0)
    interval = max(_round_up(float(np.ptp(known)) / unit_m / _CONTOURS_WANTED), _LEAST_INTERVAL)
    return Relief(picture, _contours(x, y, heights / unit_m, interval, frame), interval)


def _shaded(heights: FloatArray, step_m: float) -> str:
    """Return relief lit from the north-west, pale so that all else stays readable, as PNG."""
    unknown = ~np.isfinite(heights)
    nearest = ndimage.distance_transform_edt(unknown, return_distances=False, return_indices=True)
    light = LightSource(azdeg=315, altdeg=45).hillshade(
        heights[tuple(nearest)], vert_exag=2.0, dx=step_m, dy=step_m
    )
    # Few greys pack into far fewer bytes and look the same under colour.
    light = np.round(np.clip(light, 0, 1) * _GREYS) / _GREYS
    grey = np.ma.masked_array(_DARKEST + (_LIGHTEST - _DARKEST) * light, unknown)
    file = io.BytesIO()
    imsave(
        file, grey, cmap="gray", vmin=0, vmax=1, format="png", metadata={"Software": None},  # type: ignore[dict-item]
        pil_kwargs={"optimize": True},
    )  # fmt: skip
    return "data:image/png;base64," + base64.b64encode(file.getvalue()).decode("ascii")


def _contours(
    x: FloatArray, y: FloatArray, heights: FloatArray, interval: float, frame: Frame
) -> list[Contour]:
    known = heights[np.isfinite(heights)]
    levels = interval * np.arange(
        math.ceil(known.min() / interval), math.floor(known.max() / interval) + 1
    )
    if not len(levels):
        return []
    drawn = Figure().add_subplot().contour(x, y, np.ma.masked_invalid(heights), levels=levels)
    contours = []
    for level, found in zip(levels, drawn.get_paths(), strict=True):
        parts = [np.asarray(part, dtype=float) for part in found.to_polygons(closed_only=False)]
        lines = [shapely.LineString(part) for part in parts if len(part) > 1]
        lines = [line for line in lines if line.length > _SHORTEST_CONTOUR * frame.width_m]
        if not lines:
            continue
        longest = max(lines, key=shapely.length)
        places = [longest.interpolate(s, normalized=True) for s in (0.5, 0.35, 0.65, 0.2, 0.8)]
        contours.append(Contour(
            float(level), frame.path(shapely.MultiLineString(lines)),
            [frame.place(place.x, place.y) for place in places],
        ))  # fmt: skip
    return contours


def _round_up(value: float) -> float:
    power = 10.0 ** math.floor(math.log10(value))
    return next(step * power for step in _STEPS if step * power >= value * (1 - 1e-9))
