"""The map of the command area: where gravity serves the ground, how surely, and tank sites."""

from __future__ import annotations

from collections.abc import Sequence

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from dewpond.base.measures import Measures
from dewpond.base.model import CommandArea, CommandGround
from dewpond.base.model.command import CHANCE_EDGES
from dewpond.base.surface import FloatArray, Grid
from dewpond.base.words import words
from dewpond.outputs.drawing import ground, symbols
from dewpond.outputs.drawing import lettering as letter
from dewpond.outputs.drawing.labels import FreeSpace
from dewpond.outputs.drawing.maps import footer_of, label_heights, unit_m
from dewpond.outputs.drawing.naming import name_paddocks, name_source
from dewpond.outputs.drawing.sheet import KeyEntry, Sheet, finish_sheet, new_sheet
from dewpond.outputs.drawing.symbols import Style

SHADES = ("#2467a0", "#58a99e", "#e5c64e")
"""Served surely, probably, perhaps: blue to yellow, which the colour-blind tell apart as well, and
dark to light, so that each is told from the next and from bare ground in grey too."""

ALPHA = 0.78
"""Strength with which they are laid over the relief."""

_MOST_ENTRIES = 16
_MARGIN = 0.04
_EVEN: Style = {"color": letter.INK, "linewidth": 1.1, "linestyle": (0, (5, 2))}
_OVER: Style = {"edgecolor": letter.MISSED, "hatch": "\\\\\\\\", "linewidth": 0.0}
_UNKNOWN: Style = {"edgecolor": letter.MUTED, "hatch": "....", "linewidth": 0.0}
_TANK: Style = {
    "marker": "^", "markersize": 9.5, "markerfacecolor": "white", "markeredgecolor": letter.INK,
    "markeredgewidth": 1.3, "linestyle": "none",
}  # fmt: skip


def command_map(area: CommandArea) -> Figure:
    """Draw the ground served surely, probably and perhaps, the best guess, and tank sites.

    Parameters
    ----------
    area : CommandArea

    Returns
    -------
    Figure
        Drawn to a round scale on at most A4, figures in the units of the documents.
    """
    measures = Measures(area.project.documents.units)
    sheet = new_sheet(_bounds(area), _MOST_ENTRIES)
    axes, frame = sheet.axes, shapely.box(*sheet.extent_m)
    relief = ground.sample_ground(area.holding.surface, sheet.extent_m)
    grey = ground.draw_hillshade(axes, relief)
    served = _draw_classes(sheet, area.ground, grey)
    contours = ground.draw_height_contours(axes, relief, unit_m(measures))
    features = symbols.seen_features(area, frame)
    around = symbols.draw_surroundings(axes, features)
    paddocks = _paddocks(area)
    fences = symbols.draw_paddocks(axes, paddocks)
    sources, tanks = _points(area)
    source = symbols.draw_points(axes, "source", sources)
    sites = _draw_tanks(axes, tanks)
    space = _space(sheet, paddocks, [*sources.geometry, *tanks.geometry])
    name_source(sheet, sources, space)
    name_source(sheet, tanks, space)
    unnamed = name_paddocks(sheet, paddocks, space, areas=False)
    entries = [*source, *sites, *served, *fences, *around]
    entries += label_heights(sheet, contours, space, measures)
    title = words(
        "command.title", holding=letter.plain(area.holding.name, 45),
        source=letter.plain(area.ground.case.source, 40),
    )  # fmt: skip
    finish_sheet(
        sheet, entries, title, _line(area, measures), footer_of(area.holding, unnamed), measures
    )
    return sheet.figure


def _draw_classes(sheet: Sheet, found: CommandGround, grey: float) -> list[KeyEntry]:
    """Fill the ground by the chance that it is served; hatch what the pipe's class forbids."""
    axes = sheet.axes
    x, y = _centres(found.chance)
    seen = _seen(sheet, x, y)
    chance = np.ma.masked_invalid(found.chance.values)
    entries = []
    if np.nanmax(found.chance.values, initial=0.0) >= CHANCE_EDGES[-1]:
        axes.contourf(
            x, y, chance, levels=[*reversed(CHANCE_EDGES), 1.001], colors=list(reversed(SHADES)),
            alpha=ALPHA, zorder=1,
        )  # fmt: skip
    classes = found.served_class()
    for number, (name, shade) in enumerate(
        zip(("surely", "probably", "perhaps"), SHADES, strict=True)
    ):
        if (seen & (classes == number)).any():
            colour = symbols.laid_over(shade, ALPHA, grey)
            patch = Patch(facecolor=colour, edgecolor=letter.MUTED, linewidth=0.4)
            entries.append(KeyEntry(patch, words(f"command.key_{name}")))
    if (seen & (classes == len(SHADES))).any():
        bare = symbols.laid_over("#ffffff", 0.0, grey)
        patch = Patch(facecolor=bare, edgecolor=letter.MUTED, linewidth=0.4)
        entries.append(KeyEntry(patch, words("command.key_not")))
    entries += _draw_even(axes, x, y, found)
    over = seen & found.over_class() & (np.nan_to_num(found.spare_m.values, nan=-1.0) >= 0.0)
    entries += _hatch(axes, x, y, over, _OVER, "command.key_over_class")
    unknown = seen & ~np.isfinite(found.spare_m.values)
    return entries + _hatch(axes, x, y, unknown, _UNKNOWN, "command.key_unknown")


def _seen(sheet: Sheet, x: FloatArray, y: FloatArray) -> npt.NDArray[np.bool_]:
    """Return the cells within the frame: what lies outside it has no line in the key."""
    west, south, east, north = sheet.extent_m
    across, up = (x >= west) & (x <= east), (y >= south) & (y <= north)
    return np.asarray(up[:, None] & across[None, :], dtype=bool)


def _draw_even(axes: Axes, x: FloatArray, y: FloatArray, found: CommandGround) -> list[KeyEntry]:
    """Draw the line where head is just enough by the heights as they are."""
    spare = np.ma.masked_invalid(found.spare_m.values)
    if not spare.min() < 0.0 <= spare.max():
        return []
    axes.contour(
        x, y, spare, levels=[0.0], colors=[_EVEN["color"]], linewidths=_EVEN["linewidth"],
        linestyles=[_EVEN["linestyle"]], zorder=2.6,
    )  # fmt: skip
    return [KeyEntry(Line2D([], [], **_EVEN), words("command.key_even"))]


def _hatch(
    axes: Axes,
    x: FloatArray,
    y: FloatArray,
    where: npt.NDArray[np.bool_],
    style: Style,
    key: str,
) -> list[KeyEntry]:
    if not where.any():
        return []
    drawn = axes.contourf(
        x, y, where.astype(float), levels=[0.5, 1.5], colors="none", hatches=[style["hatch"]],
        zorder=1.5,
    )  # fmt: skip
    drawn.set_edgecolor(style["edgecolor"])
    drawn.set_linewidth(0.0)
    return [KeyEntry(Patch(facecolor="white", **style), words(key))]


def _draw_tanks(axes: Axes, tanks: gpd.GeoDataFrame) -> list[KeyEntry]:
    if tanks.empty:
        return []
    axes.add_line(Line2D(tanks.geometry.x, tanks.geometry.y, **_TANK, zorder=7))
    return [KeyEntry(Line2D([], [], **_TANK), words("command.key_tank"))]


def _centres(grid: Grid) -> tuple[FloatArray, FloatArray]:
    rows, columns = grid.values.shape
    transform = grid.transform
    x = transform.c + (np.arange(columns, dtype=float) + 0.5) * transform.a
    y = transform.f + (np.arange(rows, dtype=float) + 0.5) * transform.e
    return np.asarray(x, dtype=float), np.asarray(y, dtype=float)


def _paddocks(area: CommandArea) -> gpd.GeoDataFrame:
    """Return the paddocks, each named with the share of it that is commanded."""
    table = area.holding.paddocks[["name", "area_ha", "geometry"]].copy()
    found = area.ground.paddocks
    # Rounded down: 100 is said only of a paddock served to the last cell.
    percent = np.floor(100.0 * found["commanded_share"].to_numpy(float))
    table["name"] = [
        words("command.paddock", name=name, percent=share) if told else name
        for name, share, told in zip(
            table["name"], percent, found["chosen"] & (found["unknown_share"] < 1.0), strict=True
        )
    ]
    return table


def _points(area: CommandArea) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """Return the source, and the places for a tank with their level, to be drawn and named."""
    case, tanks = area.ground.case, area.ground.tanks
    measures = Measures(area.project.documents.units)
    source = gpd.GeoDataFrame(
        {"name": [case.source]}, geometry=[shapely.Point(case.easting_m, case.northing_m)],
        crs=area.holding.crs,
    )  # fmt: skip
    names = [
        words("command.tank", name=row["name"], level=measures.text("level", row["water_level_m"]))
        for row in tanks.to_dict("records")
    ]
    sites = gpd.GeoDataFrame(
        {"name": names},
        geometry=gpd.points_from_xy(tanks["easting_m"], tanks["northing_m"]),
        crs=area.holding.crs,
    )
    return source, sites


def _space(sheet: Sheet, paddocks: gpd.GeoDataFrame, points: Sequence[shapely.Point]) -> FreeSpace:
    inset = -2 * sheet.metres_per_point
    frame = shapely.box(*sheet.extent_m).buffer(inset, join_style="mitre")
    space = FreeSpace(frame, list(paddocks.boundary))
    for point in points:
        space.take(point.buffer(6.0 * sheet.metres_per_point, quad_segs=4))
    return space


def _bounds(area: CommandArea) -> tuple[float, float, float, float]:
    """Return what must be seen: paddocks, source, places for a tank, and a margin."""
    source, tanks = _points(area)
    boxes = np.array([
        table.total_bounds for table in (area.holding.paddocks, source, tanks) if len(table)
    ])  # fmt: skip
    west, south = boxes[:, :2].min(axis=0)
    east, north = boxes[:, 2:].max(axis=0)
    margin = _MARGIN * max(east - west, north - south)
    return west - margin, south - margin, east + margin, north + margin


def _line(area: CommandArea, measures: Measures) -> str:
    case, table = area.ground.case, area.ground.paddocks
    chosen = table[table["chosen"]]
    return words(
        "command.line", flow=measures.text("flow", case.flow_l_min),
        head=measures.text("head", case.head_m), pipe=case.pipe.name,
        whole=int(chosen["commanded"].sum()), chosen=len(chosen),
    )  # fmt: skip
