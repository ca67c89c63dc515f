"""A sheet with a map: the scheme at a true scale, with its frame, match lines and panel."""

from __future__ import annotations

from collections.abc import Sequence

import geopandas as gpd
import numpy as np
import shapely
from matplotlib.axes import Axes

from dewpond.base.words import words
from dewpond.outputs.drawing import ground, naming, pipework, symbols
from dewpond.outputs.drawing.labels import FreeSpace
from dewpond.outputs.drawing.plan_sheet import grid, ground_under, panel
from dewpond.outputs.drawing.plan_sheet.division import Layers, Tile, seen_bounds
from dewpond.outputs.drawing.plan_sheet.job import Job
from dewpond.outputs.drawing.plan_sheet.match_lines import draw_match_lines
from dewpond.outputs.drawing.plan_sheet.page import Page
from dewpond.outputs.drawing.sheet import KeyEntry, Sheet

_ON_PIPE = (
    "air_valve", "washout", "drain", "break_tank", "reducing_valve", "stop_valve", "meter",
)  # fmt: skip
_LEAST_NAMED_MM2 = 60.0
"""Of a paddock that is cut by the frame, so much must be seen for its name to be worth it."""


def draw_map_sheet(page: Page, job: Job, tile: Tile) -> None:
    """Draw the map of one sheet and the panel beside it.

    Parameters
    ----------
    page : Page
    job : Job
    tile : Tile
    """
    axes = page.add_axes(page.paper.map_mm)
    axes.set_zorder(-1)  # beneath its own frame
    axes.set_xlim(tile.extent_m[0], tile.extent_m[2])
    axes.set_ylim(tile.extent_m[1], tile.extent_m[3])
    sheet = Sheet(page.figure, axes, job.division.scale, tile.extent_m, beside=True)
    interval_m = grid.grid_interval_m(sheet.scale, page.paper.enlarged)
    layers = seen_layers(job.layers, tile)
    entries, contours, places = _draw_features(sheet, job, layers)
    grid.draw_crosses(axes, tile.extent_m, sheet.scale, interval_m)
    entries += panel.grid_entry(interval_m)
    space = _space_left(sheet, layers, places)
    for cross in grid.crosses(tile.extent_m, interval_m):
        space.take(cross.buffer(grid.CROSS_MM * sheet.scale / 1000, quad_segs=1))
    entries += draw_match_lines(sheet, tile, space)
    _write_names(sheet, job, layers, space)
    for shape in (*layers["uncovered"].geometry, *job.plan.holding.features.keep_out.geometry):
        space.take(shape)
    ground.label_contours(axes, contours, space, sheet.metres_per_point)
    make_selectable(axes)
    grid.draw_frame(page, page.paper.map_mm, tile.extent_m, interval_m)
    panel.draw_panel(page, job, tile, entries)


def seen_layers(layers: Layers, tile: Tile) -> dict[str, gpd.GeoDataFrame]:
    """Return of every kind only what the frame of a map shows, so that its legend says no more."""
    frame = shapely.box(*tile.extent_m)
    return {
        kind: table[table.geometry.intersects(frame).to_numpy(bool)]
        for kind, table in layers.items()
    }


def _draw_features(
    sheet: Sheet, job: Job, layers: Layers
) -> tuple[list[KeyEntry], ground.ContourLines, list[shapely.Point]]:
    """Draw all but lettering; return lines of the legend, contours, and where points stand."""
    axes, frame = sheet.axes, shapely.box(*sheet.extent_m)
    surface = job.plan.holding.surface
    window = ground_under.sample_window(surface, sheet.extent_m)
    ground_under.draw_hillshade(axes, window)
    factor = job.measures.value("level", 1.0)
    interval = ground_under.contour_interval(surface, seen_bounds(job.layers), factor)
    contours = ground_under.draw_contours(axes, window, interval, factor)
    around = symbols.draw_surroundings(axes, symbols.seen_features(job.plan, frame))
    missed = symbols.draw_uncovered(axes, layers["uncovered"])
    fences = symbols.draw_paddocks(axes, layers["paddock"])
    pipes = pipework.draw_pipes(axes, layers["pipe"])
    on_pipe: list[KeyEntry] = []
    places: list[shapely.Point] = []
    for kind in _ON_PIPE:
        shown, at = pipework.draw_on_pipe(axes, kind, layers, sheet.metres_per_point)
        on_pipe += shown
        places += at
    source = symbols.draw_sources(axes, layers["source"])
    outlets = symbols.draw_outlets(axes, layers["outlet"], sheet.metres_per_point)
    entries = [*source, *pipes, *outlets, *on_pipe, *missed, *fences, *around]
    if contours:
        label = words(
            "plan_sheet.legend.contour", interval=interval, unit=job.measures.sign("level")
        )
        entries.append(symbols.contour_entry(label))
    return entries, contours, places


def _space_left(sheet: Sheet, layers: Layers, places: Sequence[shapely.Point]) -> FreeSpace:
    lines = [*layers["pipe"].geometry, *layers["paddock"].boundary]
    inset = -2 * sheet.metres_per_point
    space = FreeSpace(shapely.box(*sheet.extent_m).buffer(inset, join_style="mitre"), lines)
    sized = [(point, 6.5) for point in layers["outlet"].geometry]
    sized += [(point, 5.5) for point in layers["source"].geometry]
    for point, radius_pt in [*sized, *((point, 3.5) for point in places)]:
        space.take(point.buffer(radius_pt * sheet.metres_per_point, quad_segs=4))
    return space


def _write_names(sheet: Sheet, job: Job, layers: Layers, space: FreeSpace) -> None:
    """Write names where the frame shows enough of what they name."""
    frame = shapely.box(*sheet.extent_m)
    naming.name_source(sheet, layers["source"], space)
    paddocks = _clipped(layers["paddock"], frame)
    least_m2 = _LEAST_NAMED_MM2 * (sheet.scale / 1000) ** 2
    naming.name_paddocks(
        sheet,
        paddocks[paddocks.geometry.area.to_numpy(float) > least_m2],
        space,
        areas=True,
        measures=job.measures,
    )
    pipes = _clipped(layers["pipe"], frame)
    texts = [
        (words("plan_sheet.pipe_with_size", name=name, size_mm=size), name)
        if np.isfinite(size)
        else (name,)
        for name, size in zip(pipes["name"], pipes["outside_diameter_mm"], strict=True)
    ]
    naming.name_pipes(sheet, pipes, texts, space)


def _clipped(table: gpd.GeoDataFrame, frame: shapely.Polygon) -> gpd.GeoDataFrame:
    """Return features cut at the frame, of each its largest part of its own kind."""
    cut = table.geometry.intersection(frame)
    dimension = shapely.get_dimensions(table.geometry.array).max(initial=0)
    parts = [
        max(
            (
                part
                for part in shapely.get_parts(shape)
                if shapely.get_dimensions(part) == dimension
            ),
            key=lambda part: part.area if dimension == 2 else part.length,
            default=None,
        )
        for shape in cut
    ]
    clipped = table.set_geometry(gpd.GeoSeries(parts, index=table.index, crs=table.crs))
    return clipped[np.array([part is not None for part in parts], dtype=bool)]


def make_selectable(axes: Axes) -> None:
    """Keep lettering with a halo as letters: the halo goes under it as a drawing of its own.

    The drawing library turns a text with an effect into curves, which nobody can search or copy.
    """
    for text in list(axes.texts):
        if not text.get_path_effects():
            continue
        halo = axes.text(*text.get_position(), text.get_text())
        halo.update_from(text)
        halo.set(
            text=text.get_text(),
            position=text.get_position(),
            transform=text.get_transform(),
            parse_math=False,
            zorder=text.get_zorder() - 0.05,
            color="white",
        )
        text.set_path_effects([])
