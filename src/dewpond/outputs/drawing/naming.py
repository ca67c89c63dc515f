"""Names on a map: paddocks, pipes, source; each where it fits, left out where it does not."""

from __future__ import annotations

from collections.abc import Sequence

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from matplotlib.lines import Line2D

from dewpond.base.measures import Measures
from dewpond.outputs.drawing import lettering as letter
from dewpond.outputs.drawing.labels import FreeSpace, middle_of
from dewpond.outputs.drawing.sheet import Sheet

_METRIC = Measures("metric")
_SIZES_PT = (8.0, 7.0, 6.0, 5.2)
_PIPE_SIZE_PT, _OUTLET_SIZE_PT, _SPOT_PT = 5.4, 6.5, 13.0
_CLEAR_PT = 7.0
_AIR_PT = 1.5
"""Lettering on paper is a little wider than the sum of its letters."""
_LEADERS_PT = (12.0, 20.0, 30.0, 42.0, 56.0)
"""How far off a name may stand at the end of a line; 56 points are 2 cm."""
_BESIDE_WIDTH_PT = 60.0


def name_paddocks(
    sheet: Sheet,
    paddocks: gpd.GeoDataFrame,
    space: FreeSpace,
    *,
    areas: bool,
    measures: Measures = _METRIC,
) -> list[str]:
    """Write the name of each paddock inside it, largest paddock first, with its area if asked.

    A paddock too small for its name has it beside, at the end of a thin line.

    Returns
    -------
    list of str
        Names for which there was no room, in the order of the paddocks.
    """
    order = np.argsort(-paddocks["area_ha"].to_numpy(float), kind="stable")
    left: list[int] = []
    for i in order.tolist():
        row = paddocks.iloc[i]
        area = measures.text("area", row["area_ha"], 1) if areas else ""
        if not _name_paddock(sheet, row.geometry, letter.plain(row["name"], 40), area, space):
            left.append(i)
    # Names beside their paddocks come last: they must not take room from one inside its own.
    left = [i for i in left if not _name_beside(sheet, paddocks.iloc[i], space)]
    return [str(paddocks.iloc[i]["name"]) for i in sorted(left)]


def _name_paddock(
    sheet: Sheet, shape: shapely.Geometry, name: str, area: str, space: FreeSpace
) -> bool:
    """Try smaller and smaller lettering inside the paddock, then some that sticks out a little."""
    room_pt = max(1.6 * np.sqrt(shape.area / np.pi) / sheet.metres_per_point, 24.0)
    tries = [
        (size, extra, True) for size in _SIZES_PT for extra in ((area, "") if area else ("",))
    ]
    for size, extra, strict in [*tries, (_SIZES_PT[-1], "", False)]:
        text = "\n".join(filter(None, (letter.wrap(name, size, room_pt), extra)))
        found = space.in_polygon(shape, *_room_m(sheet, text, size), strict=strict)
        if found is not None:
            _write(sheet, found, text, size)
            return True
    return False


def _name_beside(sheet: Sheet, row: pd.Series, space: FreeSpace) -> bool:
    """Write a name near its paddock, with a thin line from its middle."""
    size = _SIZES_PT[-1]
    text = letter.wrap(letter.plain(row["name"], 40), size, _BESIDE_WIDTH_PT)
    middle = middle_of(max(shapely.get_parts(row.geometry), key=shapely.area))
    gaps = [gap * sheet.metres_per_point for gap in _LEADERS_PT]
    found = space.with_leader(middle.x, middle.y, *_room_m(sheet, text, size), gaps)
    if found is None:
        return False
    _write(sheet, found[0], text, size)
    _draw_leader(sheet, found[1])
    return True


def name_pipes(
    sheet: Sheet, pipes: gpd.GeoDataFrame, texts: Sequence[Sequence[str]], space: FreeSpace
) -> None:
    """Write what is to be said of each pipe beside it, never across it, longest pipe first.

    Parameters
    ----------
    sheet : Sheet
    pipes : GeoDataFrame
    texts : sequence of sequence of str
        For each pipe what to write, best first; the next is tried where one finds no room.
    space : FreeSpace
    """
    for i in np.argsort(-pipes.geometry.length.to_numpy(float), kind="stable"):
        line = pipes.geometry.iloc[int(i)]
        for text in texts[int(i)]:
            if _name_pipe(sheet, line, text, space):
                break


def _name_pipe(sheet: Sheet, line: shapely.LineString, text: str, space: FreeSpace) -> bool:
    per_point = sheet.metres_per_point
    width, height = _room_m(sheet, text, _PIPE_SIZE_PT)
    if line.length < width:
        return False
    for share in (0.5, 0.35, 0.65, 0.2, 0.8):
        at = line.interpolate(share, normalized=True)
        found = space.by_point(at.x, at.y, width, height, 3.0 * per_point)
        if found is not None:
            _write(sheet, found, text, _PIPE_SIZE_PT, colour=letter.PIPE, style="italic")
            return True
    return False


def name_outlets(
    sheet: Sheet, outlets: gpd.GeoDataFrame, texts: Sequence[str], space: FreeSpace
) -> None:
    """Write a figure beside each outlet, at the end of a thin line where it is crowded."""
    clear_m = _CLEAR_PT * sheet.metres_per_point
    gaps = [gap * sheet.metres_per_point for gap in _LEADERS_PT]
    for text, point in zip(texts, outlets.geometry, strict=True):
        if not text:
            continue
        size_m = _room_m(sheet, text, _OUTLET_SIZE_PT, "bold")
        found = space.by_point(point.x, point.y, *size_m, clear_m, gaps=(1.0,))
        if found is None:
            led = space.with_leader(point.x, point.y, *size_m, gaps, clear_m)
            if led is None:
                continue
            found = led[0]
            _draw_leader(sheet, led[1])
        _write(sheet, found, text, _OUTLET_SIZE_PT, weight="bold")


def mark_spots(
    sheet: Sheet, points: Sequence[shapely.Point], numbers: Sequence[str], space: FreeSpace
) -> None:
    """Mark spots by a number in a diamond at the end of a line: what stands there stays seen."""
    side_m = _SPOT_PT * sheet.metres_per_point
    gaps = [gap * sheet.metres_per_point for gap in _LEADERS_PT]
    clear_m = _CLEAR_PT * sheet.metres_per_point
    for number, point in zip(numbers, points, strict=True):
        # Right to the spot, but for one that a symbol stands on: then to the edge of that.
        led = space.with_leader(point.x, point.y, side_m, side_m, gaps)
        led = led or space.with_leader(point.x, point.y, side_m, side_m, gaps, clear_m)
        at = led[0] if led is not None else (point.x, point.y)
        if led is not None:
            _draw_leader(sheet, led[1])
        sheet.axes.add_line(
            Line2D(
                [at[0]], [at[1]], marker="D", markersize=_SPOT_PT * 0.78, linestyle="none",
                markerfacecolor="white", markeredgecolor=letter.INK, markeredgewidth=1.0,
                zorder=8.1,
            )
        )  # fmt: skip
        sheet.axes.text(
            at[0], at[1], number, ha="center", va="center_baseline", color=letter.INK, zorder=8.2,
            fontproperties=letter.font(_OUTLET_SIZE_PT, "bold"), parse_math=False,
        )  # fmt: skip


def name_source(sheet: Sheet, sources: gpd.GeoDataFrame, space: FreeSpace) -> None:
    """Write the name of each source beside it."""
    clear_m = _CLEAR_PT * sheet.metres_per_point
    for name, point in zip(sources["name"], sources.geometry, strict=True):
        text = letter.wrap(letter.plain(name, 40), 7.5, 90)
        size_m = _room_m(sheet, text, 7.5, "bold")
        found = space.by_point(point.x, point.y, *size_m, clear_m)
        if found is not None:
            _write(sheet, found, text, 7.5, weight="bold")


def _room_m(
    sheet: Sheet, text: str, size_pt: float, weight: str = "normal"
) -> tuple[float, float]:
    """Return width and height on the ground that some lettering takes, with a little air."""
    width, height = letter.text_size_pt(text, size_pt, weight)
    return (width + _AIR_PT) * sheet.metres_per_point, height * sheet.metres_per_point


def _draw_leader(sheet: Sheet, line: shapely.LineString) -> None:
    (x0, y0), (x1, y1) = line.coords
    sheet.axes.add_line(
        Line2D(
            [x0, x1], [y0, y1], color=letter.INK, linewidth=0.45, zorder=7.9,
            path_effects=letter.halo(1.2), marker="o", markevery=[0], markersize=1.2,
        )
    )  # fmt: skip


def _write(
    sheet: Sheet,
    at: tuple[float, float],
    text: str,
    size_pt: float,
    *,
    colour: str = letter.INK,
    weight: str = "normal",
    style: str = "normal",
) -> None:
    sheet.axes.text(
        *at,
        text,
        ha="center",
        va="center",
        color=colour,
        linespacing=1.1,
        fontproperties=letter.font(size_pt, weight, style),
        path_effects=letter.halo(3.0),
        parse_math=False,
        zorder=8,
    )
