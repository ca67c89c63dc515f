"""The two maps of a plan: the whole scheme, and how far stock walk."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import geopandas as gpd
import numpy as np
import shapely
from matplotlib.figure import Figure

from dewpond.base.model import Plan
from dewpond.outputs.drawing import ground, symbols
from dewpond.outputs.drawing import lettering as letter
from dewpond.outputs.drawing.labels import FreeSpace
from dewpond.outputs.drawing.naming import name_paddocks, name_pipes, name_source
from dewpond.outputs.drawing.scales import walk_bands
from dewpond.outputs.drawing.sheet import KeyEntry, Sheet, finish_sheet, new_sheet

_MARGIN = 0.04
"""Share of the longer side left free around the holding."""
_OTHER_ENTRIES = 12
_BAND_ALPHA = 0.5
"""Bands on the plan let the relief through."""

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
    sheet, edges = _start(plan, layers)
    axes, frame = sheet.axes, shapely.box(*sheet.extent_m)
    relief = ground.sample_ground(plan.holding.surface, sheet.extent_m)
    grey = ground.draw_hillshade(axes, relief)
    ground.draw_walk_bands(axes, plan, edges, alpha=_BAND_ALPHA)
    contours = ground.draw_height_contours(axes, relief)
    features = symbols.seen_features(plan, frame)
    around = symbols.draw_surroundings(axes, features)
    missed = symbols.draw_uncovered(axes, layers["uncovered"])
    fences = symbols.draw_paddocks(axes, layers["paddock"])
    pipes = symbols.draw_pipes(axes, plan, layers["pipe"])
    points = [
        entry
        for kind in ("air_valve", "washout")
        for entry in symbols.draw_points(axes, kind, layers[kind])
    ]
    source = symbols.draw_points(axes, "source", _shown_sources(layers, frame))
    outlets = symbols.draw_outlets(axes, layers["outlet"], sheet.metres_per_point)
    entries = [
        *source,
        *pipes,
        *outlets,
        *points,
        *symbols.band_entries(edges, _BAND_ALPHA, grey),
        *missed,
    ]
    entries += [*fences, *around]
    space = _space(sheet, layers)
    name_source(sheet, _shown_sources(layers, frame), space)
    name_paddocks(sheet, layers["paddock"], space, areas=True)
    name_pipes(sheet, layers["pipe"], space)
    _close_to_contours(space, layers, features)
    if contours is not None:
        lines, interval = contours
        ground.label_contours(axes, ground.contour_lines(lines), space, sheet.metres_per_point)
        entries.append(symbols.contour_entry(f"Ground contour, every {interval:g} m"))
    return _finish(plan, sheet, entries, "drinking water plan", _totals(plan))


def reach_map(plan: Plan, layers: Layers) -> Figure:
    """Draw how far stock walk to water in every paddock, and the ground out of reach.

    Parameters and result as `plan_map`.
    """
    sheet, edges = _start(plan, layers)
    axes, frame = sheet.axes, shapely.box(*sheet.extent_m)
    ground.draw_walk_bands(axes, plan, edges, alpha=1.0)
    contours = ground.draw_walk_contours(axes, plan, edges[1:-1])
    features = symbols.seen_features(plan, frame)
    around = symbols.draw_surroundings(axes, features)
    missed = symbols.draw_uncovered(axes, layers["uncovered"])
    fences = symbols.draw_paddocks(axes, layers["paddock"])
    outlets = symbols.draw_outlets(axes, layers["outlet"], sheet.metres_per_point)
    entries = [*outlets, *symbols.band_entries(edges, 1.0), *missed, *fences, *around]
    space = _space(sheet, layers)
    name_paddocks(sheet, layers["paddock"], space, areas=False)
    _close_to_contours(space, layers, features)
    for lines in contours:
        ground.label_contours(axes, lines, space, sheet.metres_per_point)
    if contours:
        entries.append(symbols.contour_entry("Line of equal walk [m]", strong=True))
    return _finish(plan, sheet, entries, "walking distance to water", _reach_line(plan))


def _start(plan: Plan, layers: Layers) -> tuple[Sheet, list[float]]:
    edges = walk_bands(plan.reach.limit_m)
    return new_sheet(_bounds(plan, layers), _OTHER_ENTRIES + len(edges)), edges


def _finish(
    plan: Plan, sheet: Sheet, entries: Sequence[KeyEntry], purpose: str, subtitle: str
) -> Figure:
    title = f"{letter.plain(plan.holding.name, 45)}: {purpose}"
    finish_sheet(sheet, entries, title, subtitle, _footer(plan))
    return sheet.figure


def _bounds(plan: Plan, layers: Layers) -> tuple[float, float, float, float]:
    """Return what must be seen: paddocks, pipe, outlets, the source in use, and a margin."""
    source = layers["source"].geometry[layers["source"]["feeds_scheme"].to_numpy(bool)]
    shapes = [layers[kind].total_bounds for kind in ("paddock", "pipe", "outlet")]
    boxes = np.array([*shapes, source.total_bounds])
    west, south = np.nanmin(boxes[:, :2], axis=0)
    east, north = np.nanmax(boxes[:, 2:], axis=0)
    margin = _MARGIN * max(east - west, north - south)
    return west - margin, south - margin, east + margin, north + margin


def _shown_sources(layers: Layers, frame: shapely.Polygon) -> gpd.GeoDataFrame:
    sources = layers["source"]
    return sources[sources.geometry.within(frame).to_numpy(bool)]


def _space(sheet: Sheet, layers: Layers) -> FreeSpace:
    """Return the room left for lettering once the symbols stand."""
    lines = [*layers["pipe"].geometry, *layers["paddock"].boundary]
    inset = -2 * sheet.metres_per_point
    space = FreeSpace(shapely.box(*sheet.extent_m).buffer(inset, join_style="mitre"), lines)
    for kind, radius_pt in (("outlet", 6.5), ("source", 5.5), ("air_valve", 3), ("washout", 3)):
        for point in layers[kind].geometry:
            space.take(point.buffer(radius_pt * sheet.metres_per_point, quad_segs=4))
    return space


def _close_to_contours(
    space: FreeSpace, layers: Layers, features: Mapping[str, gpd.GeoDataFrame]
) -> None:
    """Keep contour figures off ground that is drawn over the contours."""
    for shape in (*layers["uncovered"].geometry, *features["keep_out"].geometry):
        space.take(shape)


def _totals(plan: Plan) -> str:
    """Return the figures a reader asks for first, in one line."""
    totals = plan.totals
    parts = []
    for key, form in (
        ("outlets", "{:.0f} outlets"),
        ("pipe_m", "{:,.0f} m of pipe"),
        ("worst_walk_m", "longest walk {:.0f} m"),
        ("daily_demand_l", "{:,.0f} L on the peak day"),
    ):
        if np.isfinite(totals.get(key, np.nan)):
            parts.append(form.format(totals[key]))
    failed = sum(not verdict.met for verdict in plan.verdicts)
    if failed:
        parts.append(f"{failed} of {len(plan.verdicts)} requirements not met, see summary.json")
    return "  ·  ".join(parts)


def _reach_line(plan: Plan) -> str:
    totals = plan.totals
    parts = [f"limit {plan.reach.limit_m:g} m"]
    if plan.reach.hose_m > 0:
        parts.append(f"from the end of {plan.reach.hose_m:g} m of hose")
    if np.isfinite(totals.get("worst_walk_m", np.nan)):
        parts.append(f"longest walk {totals['worst_walk_m']:.0f} m")
    if np.isfinite(totals.get("covered_share", np.nan)):
        # Rounded down: 100 % is said only of a holding covered to the last cell.
        parts.append(
            f"{np.floor(totals['covered_share'] * 1000) / 10:g} % of grazed ground covered"
        )
    return "  ·  ".join(parts)


def _footer(plan: Plan) -> str:
    crs = plan.holding.crs
    authority = crs.to_authority()
    code = f" ({':'.join(authority)})" if authority else ""
    credits = "; ".join(plan.holding.credits)
    parts = [
        f"Grid: {crs.name}{code}, metres.",
        f"Data: {credits}." if credits else "",
        "A planning aid, not a design certificate: check ground, levels and flow on site.",
    ]
    return " ".join(part for part in parts if part)
