"""The map of the whole scheme, and what all maps share: sheet, key, room for names, footer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import geopandas as gpd
import numpy as np
import shapely
from matplotlib.contour import ContourSet
from matplotlib.figure import Figure

from dewpond.base.measures import Measures
from dewpond.base.model import Holding, Plan
from dewpond.base.words import words
from dewpond.outputs.drawing import ground, pipework, symbols
from dewpond.outputs.drawing import lettering as letter
from dewpond.outputs.drawing.labels import FreeSpace
from dewpond.outputs.drawing.naming import (
    name_paddocks,
    name_pipes,
    name_source,
)
from dewpond.outputs.drawing.scales import walk_bands
from dewpond.outputs.drawing.sheet import KeyEntry, Sheet, finish_sheet, new_sheet

_MARGIN = 0.04
"""Share of the longer side left free around the holding."""
_OTHER_ENTRIES = 3
"""Lines of the key for boundaries, contours, and outlets that no pipe reaches."""
_MOST_UNNAMED = 24
"""Names of paddocks listed under a map; the rest is counted."""
_BAND_ALPHA = 0.5
"""Bands on the plan let the relief through."""

_ON_PIPE = (
    "air_valve", "washout", "drain", "break_tank", "reducing_valve", "stop_valve", "meter",
)  # fmt: skip
Layers = Mapping[str, gpd.GeoDataFrame]


def plan_map(plan: Plan, layers: Layers) -> Figure:
    """Draw the scheme on relief: paddocks, pipe, outlets, source, walking distance.

    Parameters
    ----------
    plan : Plan
    layers : mapping of str to GeoDataFrame
        Features of the plan by kind, in its working CRS.

    Returns
    -------
    Figure
        Drawn to a round scale on at most A4.
    """
    sheet, edges = start_map(plan, layers)
    measures = measures_of(plan)
    axes, frame = sheet.axes, shapely.box(*sheet.extent_m)
    relief = ground.sample_ground(plan.holding.surface, sheet.extent_m)
    grey = ground.draw_hillshade(axes, relief)
    ground.draw_walk_bands(axes, plan, edges, alpha=_BAND_ALPHA)
    contours = ground.draw_height_contours(axes, relief, unit_m(measures))
    features = symbols.seen_features(plan, frame)
    around = symbols.draw_surroundings(axes, features)
    missed = symbols.draw_uncovered(axes, layers["uncovered"])
    fences = symbols.draw_paddocks(axes, layers["paddock"])
    pipes = pipework.draw_pipes(axes, layers["pipe"], measures)
    points, places = draw_on_pipes(sheet, layers, _ON_PIPE)
    source = symbols.draw_sources(axes, shown_sources(layers, frame))
    outlets = symbols.draw_outlets(axes, layers["outlet"], sheet.metres_per_point)
    entries = [
        *source,
        *pipes,
        *outlets,
        *points,
        *symbols.band_entries(edges, _BAND_ALPHA, grey, measures),
        *missed,
    ]
    entries += [*fences, *around]
    space = space_left(sheet, layers, places)
    name_source(sheet, shown_sources(layers, frame), space)
    unnamed = name_paddocks(sheet, layers["paddock"], space, areas=True, measures=measures)
    name_pipes(sheet, layers["pipe"], _pipe_texts(layers["pipe"]), space)
    close_to_contours(space, layers, features)
    entries += label_heights(sheet, contours, space, measures)
    return finish_map(plan, sheet, entries, "plan", _totals(plan), unnamed)


def measures_of(plan: Plan) -> Measures:
    """Return what prints figures in the units of the documents."""
    return Measures(plan.project.documents.units)


def unit_m(measures: Measures) -> float:
    """Return the unit of length that is printed, in metres."""
    return 1 / measures.value("length", 1.0)


def label_heights(
    sheet: Sheet,
    contours: tuple[ContourSet, float] | None,
    space: FreeSpace,
    measures: Measures,
) -> list[KeyEntry]:
    """Write the heights on the contours of the ground; return their line of the key."""
    if contours is None:
        return []
    lines, interval = contours
    ground.label_contours(
        sheet.axes, ground.contour_lines(lines), space, sheet.metres_per_point,
        unit_m=unit_m(measures),
    )  # fmt: skip
    every = f"{interval:g} {measures.sign('level')}"
    return [symbols.contour_entry(words("maps.key.contour", interval=every))]


def start_map(plan: Plan, layers: Layers) -> tuple[Sheet, list[float]]:
    """Return an empty sheet for a holding, and the edges of its bands of walk [m]."""
    # Round in the units that are printed.
    per_metre = measures_of(plan).value("length", 1.0)
    edges = [edge / per_metre for edge in walk_bands(plan.reach.limit_m * per_metre)]
    lines = key_lines(plan, layers, "outside_diameter_mm", len(edges) - 1)
    return new_sheet(bounds_of(plan, layers), lines), edges


def key_lines(plan: Plan, layers: Layers, column: str, bands: int) -> int:
    """Return how many lines the key will have at most, from what there is to be drawn."""
    pipes, outlets, features = layers["pipe"], layers["outlet"], plan.holding.features
    around = (features.keep_out, features.tracks, features.watercourses, features.gates)
    unsized, old = pipes[column].isna(), pipes["laying"] == "existing"
    states = [outlets["served"], ~outlets["served"] & outlets["static_head_m"].notna()]
    return (
        int(pipes.loc[~old, column].nunique() + pipes.loc[old, column].nunique())
        + sum(bool(any_.any()) for any_ in (unsized & old, unsized & ~old, *states))
        + sum(len(layers[kind]) > 0 for kind in (*_ON_PIPE, "uncovered"))
        + sum(len(table) > 0 for table in around)
        + min(len(layers["source"]), 2)
        + bands
        + _OTHER_ENTRIES
    )


def finish_map(
    plan: Plan,
    sheet: Sheet,
    entries: Sequence[KeyEntry],
    title: str,
    subtitle: str,
    unnamed: Sequence[str] = (),
) -> Figure:
    """Write title, key and footer of a map, and return it.

    Parameters
    ----------
    plan : Plan
    sheet : Sheet
    entries : sequence of KeyEntry
    title : str
        Which of the titles in ``words/maps.toml``.
    subtitle : str
    unnamed : sequence of str
        Names of paddocks that found no room on the map, told in the footer.
    """
    title = words(f"maps.title.{title}", holding=letter.plain(plan.holding.name, 45))
    footer = footer_of(plan.holding, unnamed)
    finish_sheet(sheet, entries, title, subtitle, footer, measures_of(plan))
    return sheet.figure


def bounds_of(plan: Plan, layers: Layers) -> tuple[float, float, float, float]:
    """Return what must be seen: paddocks, pipe, outlets, the source in use, and a margin."""
    source = layers["source"].geometry[layers["source"]["feeds_scheme"].to_numpy(bool)]
    shapes = [layers[kind].total_bounds for kind in ("paddock", "pipe", "outlet")]
    boxes = np.array([*shapes, source.total_bounds])
    west, south = np.nanmin(boxes[:, :2], axis=0)
    east, north = np.nanmax(boxes[:, 2:], axis=0)
    margin = _MARGIN * max(east - west, north - south)
    return west - margin, south - margin, east + margin, north + margin


def shown_sources(layers: Layers, frame: shapely.Polygon) -> gpd.GeoDataFrame:
    """Return the sources that a map of this frame shows."""
    sources = layers["source"]
    return sources[sources.geometry.within(frame).to_numpy(bool)]


def draw_on_pipes(
    sheet: Sheet, layers: Layers, kinds: Sequence[str]
) -> tuple[list[KeyEntry], list[shapely.Point]]:
    """Draw things on the pipe by kind; return lines of the key, and where they stand."""
    entries: list[KeyEntry] = []
    places: list[shapely.Point] = []
    for kind in kinds:
        shown, at = pipework.draw_on_pipe(sheet.axes, kind, layers, sheet.metres_per_point)
        entries += shown
        places += at
    return entries, places


def _pipe_texts(pipes: gpd.GeoDataFrame) -> list[tuple[str, ...]]:
    """Return name and size of each pipe, the size alone where there is little room."""
    return [
        (f"{name}, {size:g} mm", f"{size:g} mm") if np.isfinite(size) else (name,)
        for name, size in zip(pipes["name"], pipes["outside_diameter_mm"], strict=True)
    ]


def space_left(sheet: Sheet, layers: Layers, places: Sequence[shapely.Point] = ()) -> FreeSpace:
    """Return the room left for lettering once the symbols stand."""
    lines = [*layers["pipe"].geometry, *layers["paddock"].boundary]
    inset = -2 * sheet.metres_per_point
    space = FreeSpace(shapely.box(*sheet.extent_m).buffer(inset, join_style="mitre"), lines)
    symbols_pt = [(point, 6.5) for point in layers["outlet"].geometry]
    symbols_pt += [(point, 5.5) for point in layers["source"].geometry]
    for point, radius_pt in [*symbols_pt, *((point, 3.5) for point in places)]:
        space.take(point.buffer(radius_pt * sheet.metres_per_point, quad_segs=4))
    return space


def close_to_contours(
    space: FreeSpace, layers: Layers, features: Mapping[str, gpd.GeoDataFrame]
) -> None:
    """Keep contour figures off ground that is drawn over the contours."""
    for shape in (*layers["uncovered"].geometry, *features["keep_out"].geometry):
        space.take(shape)


def _totals(plan: Plan) -> str:
    """Return the figures a reader asks for first, in one line."""
    totals, measures = plan.totals, measures_of(plan)
    parts = []
    if np.isfinite(totals.get("outlets", np.nan)):
        parts.append(words("maps.totals.outlets", count=int(totals["outlets"])))
    if np.isfinite(pipe_m := totals.get("pipe_m", np.nan)):
        parts.append(words("maps.totals.pipe", length=measures.text("length", pipe_m)))
    if np.isfinite(walk_m := totals.get("worst_walk_m", np.nan)):
        parts.append(words("maps.totals.walk", length=measures.text("length", walk_m)))
    if np.isfinite(demand_l := totals.get("daily_demand_l", np.nan)):
        parts.append(words("maps.totals.demand", volume=measures.text("volume", demand_l)))
    failed = sum(not verdict.met for verdict in plan.verdicts)
    if failed:
        parts.append(words("maps.totals.unmet", count=failed, all=len(plan.verdicts)))
    return letter.SEPARATOR.join(parts)


def footer_of(holding: Holding, unnamed: Sequence[str] = ()) -> str:
    """Return the footer of a map: grid, credits, caution, and the paddocks without their name."""
    crs = holding.crs
    authority = crs.to_authority()
    code = f" ({':'.join(authority)})" if authority else ""
    credits = "; ".join(holding.credits)
    parts = [words("maps.footer.grid", crs=crs.name + code)]
    if credits:
        parts.append(words("maps.footer.data", credits=credits))
    parts.append(words("maps.footer.caution"))
    if unnamed:
        names = ", ".join(letter.plain(name, 40) for name in unnamed[:_MOST_UNNAMED])
        more = len(unnamed) - _MOST_UNNAMED
        key = "unnamed_more" if more > 0 else "unnamed"
        parts.append(words(f"maps.footer.{key}", names=names, more=more))
    return " ".join(parts)
