"""The map of breaks: temporary fences, lanes, hoses, and which outlet waters which break."""

from __future__ import annotations

from collections.abc import Mapping

import geopandas as gpd
import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from dewpond.base.measures import Measures
from dewpond.base.model import Breaks, Plan
from dewpond.base.words import words
from dewpond.outputs.drawing import lettering as letter
from dewpond.outputs.drawing import symbols
from dewpond.outputs.drawing.labels import FreeSpace
from dewpond.outputs.drawing.maps import bounds_of, finish_map, measures_of
from dewpond.outputs.drawing.naming import name_paddocks
from dewpond.outputs.drawing.shapes import draw_lines, draw_polygons
from dewpond.outputs.drawing.sheet import KeyEntry, Sheet, new_sheet
from dewpond.outputs.drawing.symbols import Style

_MOST_ENTRIES = 14
_TINTS = ("#f4efe0", "#e4ecd9")
"""Neighbouring breaks in turn; near to each other in grey, so that lines carry the meaning."""
_TEMPORARY: Style = {"color": letter.INK, "linewidth": 1.0, "linestyle": (0, (4, 2))}
_HOSE: Style = {"color": letter.STILL_WATER, "linewidth": 1.5}
_LANE: Style = {
    "facecolor": "#d8cfc0",
    "edgecolor": letter.TRACK,
    "linewidth": 0.4,
    "hatch": "....",
}
_DRY: Style = {
    "facecolor": "white",
    "edgecolor": letter.MISSED,
    "hatch": "//////",
    "linewidth": 0.4,
}
_TROUGH: Style = {
    "marker": "D", "markersize": 4.6, "markerfacecolor": "white",
    "markeredgecolor": letter.STILL_WATER, "markeredgewidth": 1.3, "linestyle": "none",
}  # fmt: skip
_NUMBER_SIZES_PT = (9.0, 7.5, 6.0, 5.0)

Layers = Mapping[str, gpd.GeoDataFrame]


def breaks_map(plan: Plan, breaks: Breaks, layers: Layers) -> Figure:
    """Draw the breaks of every paddock with their numbers, fences, hoses and outlets.

    Parameters
    ----------
    plan : Plan
    breaks : Breaks
    layers : mapping of str to GeoDataFrame
        Features of the plan by kind, in its working CRS.
    """
    sheet = new_sheet(bounds_of(plan, layers), _MOST_ENTRIES)
    axes, frame = sheet.axes, shapely.box(*sheet.extent_m)
    around = symbols.draw_surroundings(axes, symbols.seen_features(plan, frame))
    ground = _draw_ground(axes, breaks)
    fences = symbols.draw_paddocks(axes, layers["paddock"])
    water = _draw_water(axes, breaks)
    outlets = symbols.draw_outlets(axes, layers["outlet"], sheet.metres_per_point)
    space = _space(sheet, breaks, layers)
    _number(sheet, breaks, space)
    cut = layers["paddock"][layers["paddock"].index.isin(breaks.breaks["paddock"])]
    unnamed = name_paddocks(sheet, cut, space, areas=False)
    entries = [*outlets, *water, *ground, *fences, *around]
    return finish_map(plan, sheet, entries, "breaks", _line(breaks, measures_of(plan)), unnamed)


def _draw_ground(axes: Axes, breaks: Breaks) -> list[KeyEntry]:
    table = breaks.breaks
    watered = table["watered"].to_numpy(bool)
    even = (table["number"].to_numpy() % 2) == 0
    for tint, chosen in zip(_TINTS, (~even, even), strict=True):
        draw_polygons(axes, table.geometry[watered & chosen], facecolor=tint, linewidth=0,
                      zorder=1)  # fmt: skip
    entries = []
    if draw_lines(axes, breaks.fences.geometry, **_TEMPORARY, zorder=3.1):
        entries.append(KeyEntry(Line2D([], [], **_TEMPORARY), words("maps.key.break_fence")))
    if draw_polygons(axes, breaks.lanes.geometry, **_LANE, zorder=2.5):
        entries.append(KeyEntry(Patch(**_LANE), words("maps.key.break_lane")))
    if draw_polygons(axes, table.geometry[~watered], **_DRY, zorder=1.1):
        entries.append(KeyEntry(Patch(**_DRY), words("maps.key.break_dry")))
    sample = Line2D([], [], marker="$1$", color=letter.INK, linestyle="none", markersize=7)
    return [KeyEntry(sample, words("maps.key.break_number")), *entries]


def _draw_water(axes: Axes, breaks: Breaks) -> list[KeyEntry]:
    served = breaks.breaks[breaks.breaks["watered"].to_numpy(bool)]
    hoses = breaks.hoses.geometry[breaks.hoses.index.isin(served.index)]
    entries = []
    if draw_lines(axes, hoses, color="white", linewidth=3.0, alpha=0.8, zorder=5):
        draw_lines(axes, hoses, **_HOSE, zorder=5.1)
        entries.append(KeyEntry(Line2D([], [], **_HOSE), words("maps.key.hose")))
        ends = served.loc[hoses.index]
        axes.add_line(
            Line2D(ends["trough_easting_m"], ends["trough_northing_m"], **_TROUGH, zorder=6)
        )
        entries.append(KeyEntry(Line2D([], [], **_TROUGH), words("maps.key.hose_trough")))
    return entries


def _space(sheet: Sheet, breaks: Breaks, layers: Layers) -> FreeSpace:
    lines = [*breaks.breaks.boundary, *breaks.hoses.geometry]
    inset = -2 * sheet.metres_per_point
    space = FreeSpace(shapely.box(*sheet.extent_m).buffer(inset, join_style="mitre"), lines)
    for point in layers["outlet"].geometry:
        space.take(point.buffer(6.5 * sheet.metres_per_point, quad_segs=4))
    return space


def _number(sheet: Sheet, breaks: Breaks, space: FreeSpace) -> None:
    """Write the number of each break inside it, as large as there is room for."""
    for number, shape in zip(breaks.breaks["number"], breaks.breaks.geometry, strict=True):
        text = str(number)
        for size in _NUMBER_SIZES_PT:
            sides = letter.text_size_pt(text, size, "bold")
            width, height = (side * sheet.metres_per_point for side in sides)
            found = space.in_polygon(shape, width, height, strict=True)
            if found is not None:
                sheet.axes.text(
                    found[0], found[1], text, ha="center", va="center", color=letter.INK,
                    fontproperties=letter.font(size, "bold"), path_effects=letter.halo(),
                    zorder=8,
                )  # fmt: skip
                break


def _line(breaks: Breaks, measures: Measures) -> str:
    table = breaks.breaks
    sizes = table["area_ha"].to_numpy(float)
    least = measures.figure("area", float(np.min(sizes)), 2)
    most = measures.text("area", float(np.max(sizes)), 2)
    parts = [words("maps.breaks.count", count=len(table), least=least, most=most)]
    watered = table["watered"].to_numpy(bool)
    if table["hose_m"].max() > 0:
        longest = measures.text("length", float(table["hose_m"][watered].max()))
        parts.append(words("maps.breaks.hose", length=longest))
    if watered.any():
        farthest = measures.text("length", float(table["walk_m"][watered].max()))
        parts.append(words("maps.breaks.walk", length=farthest))
    if not watered.all():
        parts.append(words("maps.breaks.dry", count=int((~watered).sum())))
    return letter.SEPARATOR.join(parts)
