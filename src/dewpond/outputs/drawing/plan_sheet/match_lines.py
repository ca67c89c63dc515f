"""Match lines: where a map goes on, on which sheet."""

from __future__ import annotations

import numpy as np
import shapely
from matplotlib.collections import LineCollection
from matplotlib.lines import Line2D

from dewpond.base.words import words
from dewpond.outputs.drawing import lettering as letter
from dewpond.outputs.drawing.labels import FreeSpace
from dewpond.outputs.drawing.plan_sheet.division import Tile
from dewpond.outputs.drawing.sheet import KeyEntry, Sheet

_DASH = (0, (9, 2.5, 1.5, 2.5))
_WIDTH_PT, _SIZE_PT = 1.1, 6.5
_SIDES = {"west": (0, 0, 1), "south": (1, 1, 0), "east": (0, 2, 1), "north": (1, 3, 0)}
"""Of each side: whether its line runs level, which bound it lies on, and which axis it runs."""
_SHARES = (0.2, 0.8)


def draw_match_lines(sheet: Sheet, tile: Tile, space: FreeSpace) -> list[KeyEntry]:
    """Draw the match lines of a map with the sheets beyond; take the room of their lettering.

    Parameters
    ----------
    sheet : Sheet
    tile : Tile
    space : FreeSpace

    Returns
    -------
    list of KeyEntry
        Its line of the legend, none on a sheet without neighbours.
    """
    lines = [_line(tile, side) for side in tile.neighbours]
    if not lines:
        return []
    sheet.axes.add_collection(
        LineCollection(
            lines, colors=letter.MISSED, linewidths=_WIDTH_PT, linestyles=[_DASH], zorder=5
        ),
        autolim=False,
    )
    for line in lines:
        space.take(shapely.LineString(line).buffer(2 * sheet.metres_per_point))
    for side, number in tile.neighbours.items():
        _write(sheet, tile, side, number, space)
    handle = Line2D([], [], color=letter.MISSED, linewidth=_WIDTH_PT, linestyle=_DASH)
    return [KeyEntry(handle, words("plan_sheet.legend.match_line"))]


def _line(tile: Tile, side: str) -> list[tuple[float, float]]:
    """Return the match line of a side, from one edge of the frame to the other."""
    west, south, east, north = tile.extent_m
    _, bound, _ = _SIDES[side]
    at = tile.own_m[bound]
    if side in ("west", "east"):
        return [(at, south), (at, north)]
    return [(west, at), (east, at)]


def _write(sheet: Sheet, tile: Tile, side: str, number: int, space: FreeSpace) -> None:
    """Write the number of the next sheet twice along a match line, beyond it."""
    text = words("plan_sheet.match_line", number=number)
    per_point = sheet.metres_per_point
    wide, tall = (length * per_point for length in letter.text_size_pt(text, _SIZE_PT, "bold"))
    level = side in ("south", "north")
    away = {"west": (-1, 0), "south": (0, -1), "east": (1, 0), "north": (0, 1)}[side]
    (x0, y0), (x1, y1) = _line(tile, side)
    half = (wide / 2, tall / 2) if level else (tall / 2, wide / 2)
    for share in _SHARES:
        x, y = np.array([x0, y0]) + share * np.array([x1 - x0, y1 - y0])
        x += away[0] * (tall / 2 + 2 * per_point)
        y += away[1] * (tall / 2 + 2 * per_point)
        space.take(shapely.box(x - half[0], y - half[1], x + half[0], y + half[1]))
        sheet.axes.text(
            x, y, text, rotation=0 if level else 90, ha="center", va="center",
            color=letter.MISSED, fontproperties=letter.font(_SIZE_PT, "bold"),
            path_effects=letter.halo(), parse_math=False, zorder=8,
        )  # fmt: skip
