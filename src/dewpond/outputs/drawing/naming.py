"""Names on a map: paddocks, pipes, source; each where it fits, left out where it does not."""

from __future__ import annotations

from collections.abc import Sequence

import geopandas as gpd
import numpy as np
import shapely

from dewpond.outputs.drawing import lettering as letter
from dewpond.outputs.drawing.labels import FreeSpace
from dewpond.outputs.drawing.sheet import Sheet

_SIZES_PT = (8.0, 7.0, 6.0, 5.2)
_PIPE_SIZE_PT, _OUTLET_SIZE_PT = 5.4, 6.5
_CLEAR_PT = 7.0


def name_paddocks(
    sheet: Sheet, paddocks: gpd.GeoDataFrame, space: FreeSpace, *, areas: bool
) -> None:
    """Write the name of each paddock inside it, largest paddock first, with its area if asked."""
    order = np.argsort(-paddocks["area_ha"].to_numpy(float), kind="stable")
    for i in order:
        row = paddocks.iloc[int(i)]
        area = f"{row['area_ha']:.1f} ha" if areas else ""
        _name_paddock(sheet, row.geometry, letter.plain(row["name"], 40), area, space)


def _name_paddock(
    sheet: Sheet, shape: shapely.Geometry, name: str, area: str, space: FreeSpace
) -> None:
    """Try smaller and smaller lettering inside the paddock, then some that sticks out a little."""
    per_point = sheet.metres_per_point
    room_pt = max(1.6 * np.sqrt(shape.area / np.pi) / per_point, 24.0)
    tries = [
        (size, extra, True) for size in _SIZES_PT for extra in ((area, "") if area else ("",))
    ]
    for size, extra, strict in [*tries, (_SIZES_PT[-1], "", False)]:
        text = "\n".join(filter(None, (letter.wrap(name, size, room_pt), extra)))
        width, height = (side * per_point for side in letter.text_size_pt(text, size))
        found = space.in_polygon(shape, width, height, strict=strict)
        if found is not None:
            _write(sheet, found, text, size)
            return


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
    width, height = (side * per_point for side in letter.text_size_pt(text, _PIPE_SIZE_PT))
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
    """Write a figure beside each outlet."""
    per_point = sheet.metres_per_point
    for text, point in zip(texts, outlets.geometry, strict=True):
        if not text:
            continue
        width, height = (
            side * per_point for side in letter.text_size_pt(text, _OUTLET_SIZE_PT, "bold")
        )
        found = space.by_point(point.x, point.y, width, height, _CLEAR_PT * per_point)
        if found is not None:
            _write(sheet, found, text, _OUTLET_SIZE_PT, weight="bold")


def name_source(sheet: Sheet, sources: gpd.GeoDataFrame, space: FreeSpace) -> None:
    """Write the name of each source beside it."""
    per_point = sheet.metres_per_point
    for name, point in zip(sources["name"], sources.geometry, strict=True):
        text = letter.wrap(letter.plain(name, 40), 7.5, 90)
        width, height = (s * per_point for s in letter.text_size_pt(text, 7.5, "bold"))
        found = space.by_point(point.x, point.y, width, height, _CLEAR_PT * per_point)
        if found is not None:
            _write(sheet, found, text, 7.5, weight="bold")


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
        path_effects=letter.halo(),
        parse_math=False,
        zorder=8,
    )
