"""Many holdings on one sheet: which are served, which fall short, which could not be planned."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt
import pyproj
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from dewpond.base.surface import FloatArray, transformer
from dewpond.base.words import words
from dewpond.outputs.drawing import lettering as letter
from dewpond.outputs.drawing.sheet import KeyEntry, Sheet, finish_sheet, new_sheet

_MARGIN = 0.05
_LEAST_SPAN_M = 500.0
_MOST_MARKS = 3_000
"""With more holdings marks would cover each other; they are gathered into discs instead."""
_MARKS_PT = (2.6, 7.0)
_SHORT = "#b45309"
_DISC_STEP_PT = 13.0
_SHARES = (0, 10, 25, 50, 75, 100)
_SHADES = ("#dbe9f6", "#f7bd72", "#e59a4f", "#b4622a", "#6b3212")
_ZONE_DEGREES = 6.0

_LOOKS = {
    "met": ("o", letter.PIPE, "white", 0.4, 1.0),
    "short": ("^", _SHORT, "white", 0.4, 1.25),
    "failed": ("x", letter.INK, letter.INK, 1.1, 1.0),
}
"""Marker, face, edge, width of the edge, and size against the others: a triangle looks smaller."""


def overview_map(
    places: Sequence[tuple[float, float]], status: Sequence[str], counts: Mapping[str, int]
) -> Figure:
    """Draw where holdings lie and how they fared.

    Up to a few thousand get a mark each, told apart by shape first and colour second; more are
    gathered into discs, large where there are many and dark where many fall short.

    Parameters
    ----------
    places : sequence of (float, float)
        Longitude and latitude of each holding that has a place.
    status : sequence of str
        "met", "short" or "failed", for each of them.
    counts : mapping of str to int
        How many holdings there are of each, also of those without a place.

    Returns
    -------
    Figure
        At a round scale on at most A4.
    """
    whole = sum(counts.values())
    subtitle = words(
        "batch.map.subtitle", unplaced=whole - len(places),
        **{kind: counts.get(kind, 0) for kind in _LOOKS},
    )  # fmt: skip
    title = words("batch.map.title", count=whole)
    if not places:
        return _empty(title, subtitle)
    crs, points = _projected(places)
    sheet = new_sheet(_bounds(points), len(_SHARES) + 3)
    states = np.array(status)
    if len(points) <= _MOST_MARKS:
        entries = _draw_marks(sheet, points, states)
        footer = words("batch.map.footer", crs=crs.name)
    else:
        entries = _draw_discs(sheet, points, states)
        footer = words("batch.map.footer_many", crs=crs.name)
    finish_sheet(sheet, entries, title, subtitle, footer)
    return sheet.figure


def _empty(title: str, subtitle: str) -> Figure:
    figure = letter.new_figure(6.0, 2.0)
    lines = (title, subtitle, words("batch.map.empty"))
    for line, y, size in zip(lines, (0.8, 0.55, 0.3), (12, 8, 8), strict=True):
        figure.text(0.05, y, line, fontproperties=letter.font(size), color=letter.INK)
    return figure


def _projected(places: Sequence[tuple[float, float]]) -> tuple[pyproj.CRS, FloatArray]:
    """Return the places in a CRS in metres: the UTM zone of a district, equal area beyond it."""
    longitude, latitude = np.array(places, dtype=float).T
    longitude = longitude[0] + (longitude - longitude[0] + 180) % 360 - 180
    middle = (longitude.min() + longitude.max()) / 2, (latitude.min() + latitude.max()) / 2
    if np.ptp(longitude) <= _ZONE_DEGREES and np.ptp(latitude) <= _ZONE_DEGREES:
        zone = int((middle[0] + 180) // 6) % 60 + 1
        crs = pyproj.CRS.from_epsg((32600 if middle[1] >= 0 else 32700) + zone)
    else:
        crs = pyproj.CRS.from_dict(
            {"proj": "laea", "lat_0": round(middle[1], 1), "lon_0": round(middle[0], 1)}
        )
    x, y = transformer(pyproj.CRS.from_epsg(4326), crs).transform(longitude, latitude)
    return crs, np.column_stack([x, y])


def _bounds(points: FloatArray) -> tuple[float, float, float, float]:
    west, south = points.min(axis=0)
    east, north = points.max(axis=0)
    margin = max(_MARGIN * max(east - west, north - south), _LEAST_SPAN_M)
    return west - margin, south - margin, east + margin, north + margin


def _draw_marks(sheet: Sheet, points: FloatArray, states: npt.NDArray[np.str_]) -> list[KeyEntry]:
    """Draw one mark a holding, the smaller the more there are; what fared worst lies on top."""
    width_in, height_in = sheet.figure.get_size_inches()
    box = sheet.axes.get_position()
    area_pt2 = box.width * width_in * box.height * height_in * letter.POINTS_PER_INCH**2
    size = float(np.clip(0.35 * math.sqrt(area_pt2 / len(points)), *_MARKS_PT))
    entries = []
    for order, (kind, look) in enumerate(_LOOKS.items()):
        chosen = states == kind
        if not chosen.any():
            continue
        x, y = points[chosen].T
        sheet.axes.add_line(_marks(x, y, size, look, 3 + order))
        handle = _marks(np.zeros(1), np.zeros(1), max(size, 5.0), look, 0)
        entries.append(KeyEntry(handle, f"{words(f'batch.map.{kind}')} ({chosen.sum():,})"))
    return entries


def _marks(
    x: FloatArray, y: FloatArray, size: float, look: tuple[str, str, str, float, float], order: int
) -> Line2D:
    marker, face, edge, width, times = look
    return Line2D(
        x, y, linestyle="none", marker=marker, markersize=times * size, markerfacecolor=face,
        markeredgecolor=edge, markeredgewidth=width, zorder=order,
    )  # fmt: skip


def _draw_discs(sheet: Sheet, points: FloatArray, states: npt.NDArray[np.str_]) -> list[KeyEntry]:
    """Draw one disc for the holdings of each hexagon of a grid over the sheet."""
    step = _DISC_STEP_PT * sheet.metres_per_point
    centres, of_point = _hexagons(points, step)
    count = np.bincount(of_point)
    share = np.bincount(of_point, weights=states != "met") / count
    most = int(count.max())
    shade = np.clip(np.searchsorted(_SHARES, 100 * share, side="left") - 1, 0, len(_SHADES) - 1)
    for (x, y), number, colour in zip(centres, count, shade, strict=True):
        sheet.axes.add_line(_disc(x, y, _SHADES[colour], _disc_pt(int(number), most)))
    entries = [
        KeyEntry(
            _disc(0, 0, colour, 7.0), words("batch.map.share", low=_SHARES[i], high=_SHARES[i + 1])
        )
        for i, colour in enumerate(_SHADES)
        if (shade == i).any()
    ]
    for number in dict.fromkeys((1, max(1, most // 4), most)):
        handle = _disc(0, 0, "white", _disc_pt(number, most))
        entries.append(KeyEntry(handle, words("batch.map.size", count=number)))
    return entries


def _disc_pt(count: int, most: int) -> float:
    return max(2.0, _DISC_STEP_PT * math.sqrt(count / most))


def _disc(x: float, y: float, colour: str, size: float) -> Line2D:
    return Line2D(
        [x], [y], linestyle="none", marker="o", markersize=size, markerfacecolor=colour,
        markeredgecolor=letter.INK, markeredgewidth=0.4, zorder=3,
    )  # fmt: skip


def _hexagons(points: FloatArray, step: float) -> tuple[FloatArray, npt.NDArray[np.intp]]:
    """Return the centres of the hexagons that hold points, and the hexagon of each point.

    Two square lattices, one shifted by half a step each way, make the centres of a hexagonal one;
    a point belongs to the nearer.
    """
    pitch = np.array([step, step * math.sqrt(3)])
    even = np.round(points / pitch) * pitch
    odd = (np.floor(points / pitch) + 0.5) * pitch
    nearer = ((points - even) ** 2).sum(axis=1) <= ((points - odd) ** 2).sum(axis=1)
    own = np.where(nearer[:, None], even, odd)
    keys = np.round(own / (pitch / 2)).astype(np.int64)
    unique, of_point = np.unique(keys, axis=0, return_inverse=True)
    return unique * (pitch / 2), of_point.ravel()
