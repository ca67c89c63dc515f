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
    """A contour of the ground: its level [m] and its path."""

    level_m: float
    path: str


class Relief(NamedTuple):
    """Hillshade, contours, their interval [m] and places to write their levels."""

    picture: Picture | None
    contours: list[Contour]
    interval_m: float
    labels: list[tuple[float, list[tuple[float, float]]]]


def draw_relief(surface: Surface, frame: Frame) -> Relief:
    """Return the ground under the map; nothing of it where no height is known."""
    west, south, east, north = frame.extent_m
    # Never finer than the data: between two postings there is nothing to see but stripes.
    step = max(surface.posting_m, max(east - west, north - south) / _MOST_CELLS)
    x, y = np.arange(west, east + step, step), np.arange(north, south - step, -step)
    heights = surface.heights_m(*np.meshgrid(x, y))
    known = heights[np.isfinite(heights)]
    if min(heights.shape) < 2 or not len(known):
        return Relief(None, [], 0.0, [])
    picture = Picture(
        _shaded(heights, step), *(frame.place(x[0] - step / 2, y[0] + step / 2)),
        round(len(x) * step, 2), round(len(y) * step, 2),
    )  # fmt: skip
    if np.ptp(known) < _LEVEL_GROUND_M:
        return Relief(picture, [], 0.0, [])
    interval = max(_round_up(float(np.ptp(known)) / _CONTOURS_WANTED), _LEVEL_GROUND_M)
    contours, labels = _contours(x, y, heights, interval, frame)
    return Relief(picture, contours, interval, labels)


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
        file, grey, cmap="gray", vmin=0, vmax=1, format="png", metadata={"Software": None},
        pil_kwargs={"optimize": True},
    )  # fmt: skip
    return "data:image/png;base64," + base64.b64encode(file.getvalue()).decode("ascii")


def _contours(
    x: FloatArray, y: FloatArray, heights: FloatArray, interval_m: float, frame: Frame
) -> tuple[list[Contour], list[tuple[float, list[tuple[float, float]]]]]:
    known = heights[np.isfinite(heights)]
    first, last = math.ceil(known.min() / interval_m), math.floor(known.max() / interval_m)
    levels = interval_m * np.arange(first, last + 1)
    if not len(levels):
        return [], []
    drawn = Figure().add_subplot().contour(x, y, np.ma.masked_invalid(heights), levels=levels)
    contours, labels = [], []
    for level, found in zip(drawn.levels, drawn.get_paths(), strict=True):
        lines = [
            line
            for part in found.to_polygons(closed_only=False)
            if len(part) > 1
            and (line := shapely.LineString(part)).length > _SHORTEST_CONTOUR * frame.width_m
        ]
        if not lines:
            continue
        contours.append(Contour(float(level), frame.path(shapely.MultiLineString(lines))))
        longest = max(lines, key=shapely.length)
        places = [longest.interpolate(s, normalized=True) for s in (0.5, 0.35, 0.65, 0.2, 0.8)]
        labels.append((float(level), [frame.place(p.x, p.y) for p in places]))
    return contours, labels


def _round_up(value: float) -> float:
    power = 10.0 ** math.floor(math.log10(value))
    return next(step * power for step in _STEPS if step * power >= value * (1 - 1e-9))
