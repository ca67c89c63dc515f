"""The map of how sure the water is: outlets at risk, and the spots to level first."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from dewpond.base.measures import Measures
from dewpond.base.model import Confidence, Plan
from dewpond.base.words import words
from dewpond.outputs.drawing import ground, pipework, symbols
from dewpond.outputs.drawing import lettering as letter
from dewpond.outputs.drawing.labels import FreeSpace
from dewpond.outputs.drawing.maps import (
    Layers,
    bounds_of,
    close_to_contours,
    draw_on_pipes,
    finish_map,
    key_lines,
    label_heights,
    measures_of,
    shown_sources,
    space_left,
    unit_m,
)
from dewpond.outputs.drawing.naming import (
    mark_spots,
    name_outlets,
    name_paddocks,
    name_source,
)
from dewpond.outputs.drawing.sheet import KeyEntry, Sheet, new_sheet

_SAFE, _LIKELY = "#1f5f8b", "#f2b134"
_EVEN = 0.5
_ENTRIES = 5
"""Lines of the key for outlets and spots."""


def confidence_map(plan: Plan, found: Confidence, layers: Layers) -> Figure:
    """Draw with what chance each outlet works, and the spots to level on site, best first.

    Parameters
    ----------
    plan : Plan
    found : Confidence
        How sure its chosen scheme is.
    layers : mapping of str to GeoDataFrame
        Features of the plan by kind, in its working CRS.

    Returns
    -------
    Figure
        As `plan_map`.
    """
    measures = measures_of(plan)
    entries_at_most = key_lines(plan, layers, "outside_diameter_mm", _ENTRIES)
    sheet = new_sheet(bounds_of(plan, layers), entries_at_most)
    axes, frame = sheet.axes, shapely.box(*sheet.extent_m)
    relief = ground.sample_ground(plan.holding.surface, sheet.extent_m)
    ground.draw_hillshade(axes, relief)
    contours = ground.draw_height_contours(axes, relief, unit_m(measures))
    features = symbols.seen_features(plan, frame)
    around = symbols.draw_surroundings(axes, features)
    fences = symbols.draw_paddocks(axes, layers["paddock"])
    pipes = pipework.draw_pipes(axes, layers["pipe"], measures)
    points, places = draw_on_pipes(sheet, layers, ("break_tank", "reducing_valve"))
    source = symbols.draw_sources(axes, shown_sources(layers, frame))
    wanted = float(found.design["wanted"])
    outlets = symbols.draw_discs(
        axes, layers["outlet"], _groups(layers["outlet"], wanted), sheet.metres_per_point
    )
    space = space_left(sheet, layers, places)
    spots = _draw_spots(sheet, layers["survey_point"], space)
    name_outlets(sheet, layers["outlet"], _texts(layers["outlet"]), space)
    name_source(sheet, shown_sources(layers, frame), space)
    unnamed = name_paddocks(sheet, layers["paddock"], space, areas=False)
    close_to_contours(space, layers, features)
    entries = [*outlets, *spots, *source, *pipes, *points, *fences, *around]
    entries += label_heights(sheet, contours, space, measures)
    line = _line(found, layers, measures)
    return finish_map(plan, sheet, entries, "confidence", line, unnamed)


def _groups(
    outlets: gpd.GeoDataFrame, wanted: float
) -> list[tuple[npt.NDArray[np.bool_], str, str, str]]:
    """Return the outlets by chance: which, face, ink, line of the key."""
    chance = outlets["chance"].to_numpy(float)
    known = np.isfinite(chance)
    share = f"{100 * wanted:g}"
    return [
        (~known, "white", letter.MUTED, words("confidence.map.key.unjoined")),
        (known & (chance < _EVEN), "white", letter.MISSED,
         words("confidence.map.key.unlikely")),
        (known & (chance >= _EVEN) & (chance < wanted), _LIKELY, letter.INK,
         words("confidence.map.key.likely", wanted=share)),
        (known & (chance >= max(wanted, _EVEN)), _SAFE, "white",
         words("confidence.map.key.safe", wanted=share)),
    ]  # fmt: skip


def _texts(outlets: gpd.GeoDataFrame) -> list[str]:
    """Return the chance of each outlet in per cent, rounded down: 100 % is every draw."""
    return [
        words("confidence.map.percent", percent=int(np.floor(100 * chance + 1e-9)))
        if np.isfinite(chance)
        else ""
        for chance in outlets["chance"]
    ]


def _draw_spots(sheet: Sheet, spots: gpd.GeoDataFrame, space: FreeSpace) -> list[KeyEntry]:
    if spots.empty:
        return []
    numbers = [f"{order:.0f}" for order in spots["order"]]
    mark_spots(sheet, list(spots.geometry), numbers, space)
    handle = Line2D(
        [], [], marker="D", markersize=5.5, markerfacecolor="white", linestyle="none",
        markeredgecolor=letter.INK, markeredgewidth=1.0,
    )  # fmt: skip
    return [KeyEntry(handle, words("confidence.map.key.survey"))]


def _line(found: Confidence, layers: Layers, measures: Measures) -> str:
    """Return the figures a reader asks for first, in one line."""
    wanted = float(found.design["wanted"])
    chance = layers["outlet"]["chance"].to_numpy(float)
    risky = int((chance < wanted).sum())
    share = f"{100 * wanted:g}"
    key = "at_risk" if risky else "none_at_risk"
    parts = [words(f"confidence.map.{key}", count=risky, all=len(chance), wanted=share)]
    if np.isfinite(found.chance_all):
        percent = int(np.floor(100 * found.chance_all + 1e-9))
        parts.append(words("confidence.map.together", percent=percent))
    deviation = measures.text("head", float(found.assumed["standard_deviation_m"]))
    parts.append(words("confidence.map.heights", deviation=deviation))
    return letter.SEPARATOR.join(parts)
