"""The map of pressure: head left at every outlet, pressure and class of every pipe."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely
from matplotlib.figure import Figure

from dewpond.base.measures import Measures
from dewpond.base.model import Plan
from dewpond.base.units import METRES_PER_FOOT, bar_from_head_m
from dewpond.base.words import words
from dewpond.outputs.drawing import ground, pipework, symbols
from dewpond.outputs.drawing import lettering as letter
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
from dewpond.outputs.drawing.naming import name_outlets, name_paddocks, name_pipes, name_source
from dewpond.outputs.drawing.sheet import new_sheet

HEAD_SHADES = ("#f4f7c4", "#a1dab4", "#41b6c4", "#2c7fb8", "#253494")
"""From little head to much, after ColorBrewer's YlGnBu: dark to light in grey as well."""
_HEAD_EDGES_M = {
    "metric": (10.0, 20.0, 40.0, 60.0),
    "US customary": tuple(feet * METRES_PER_FOOT for feet in (30.0, 60.0, 120.0, 200.0)),
}
"""Round in the units that are printed."""


def pressure_map(plan: Plan, layers: Layers) -> Figure:
    """Draw residual head at every outlet, and pressure and class of every pipe.

    Parameters and result as `plan_map`.
    """
    measures = measures_of(plan)
    sheet = new_sheet(
        bounds_of(plan, layers), key_lines(plan, layers, "pressure_class_bar", len(HEAD_SHADES))
    )
    axes, frame = sheet.axes, shapely.box(*sheet.extent_m)
    relief = ground.sample_ground(plan.holding.surface, sheet.extent_m)
    ground.draw_hillshade(axes, relief)
    contours = ground.draw_height_contours(axes, relief, unit_m(measures))
    features = symbols.seen_features(plan, frame)
    around = symbols.draw_surroundings(axes, features)
    fences = symbols.draw_paddocks(axes, layers["paddock"])
    pipes = pipework.draw_pipes_by_class(axes, layers["pipe"], measures)
    points, places = draw_on_pipes(sheet, layers, ("break_tank", "reducing_valve"))
    source = symbols.draw_sources(axes, shown_sources(layers, frame))
    outlets = symbols.draw_discs(
        axes, layers["outlet"], _head_groups(layers["outlet"], measures), sheet.metres_per_point
    )
    entries = [*source, *pipes, *points, *outlets, *fences, *around]
    space = space_left(sheet, layers, places)
    name_outlets(sheet, layers["outlet"], _head_texts(layers["outlet"], measures), space)
    name_source(sheet, shown_sources(layers, frame), space)
    name_pipes(sheet, layers["pipe"], _pressure_texts(layers["pipe"], measures), space)
    unnamed = name_paddocks(sheet, layers["paddock"], space, areas=False)
    close_to_contours(space, layers, features)
    entries += label_heights(sheet, contours, space, measures)
    return finish_map(plan, sheet, entries, "pressure", _pressure_line(layers), unnamed)


def _head_groups(
    outlets: gpd.GeoDataFrame, measures: Measures
) -> list[tuple[npt.NDArray[np.bool_], str, str, str]]:
    """Return the outlets by residual head: which, face, ink, line of the key."""
    head = outlets["residual_head_m"].to_numpy(float)
    joined = outlets["static_head_m"].notna().to_numpy(bool)
    served = outlets["served"].to_numpy(bool)
    edges = _HEAD_EDGES_M[measures.system]
    band = np.digitize(head, edges)
    said = [measures.text("head", edge, 0) for edge in edges]
    labels = [
        words("maps.key.head_least", head=said[0]),
        *(
            words("maps.key.head_between", low=measures.figure("head", low, 0), high=high)
            for low, high in zip(edges, said[1:], strict=False)
        ),
        words("maps.key.head_most", head=said[-1]),
    ]
    inks = [letter.INK] * 3 + ["white"] * 2
    return [
        (~joined, "white", letter.MUTED, words("maps.key.outlet_unjoined")),
        (joined & ~served, "white", letter.MISSED, words("maps.key.outlet_short")),
        *(
            (served & (band == i), HEAD_SHADES[i], inks[i], labels[i])
            for i in range(len(HEAD_SHADES))
        ),
    ]


def _dry(outlets: gpd.GeoDataFrame) -> npt.NDArray[np.bool_]:
    """Say which outlets have head enough, yet lie behind ground that water does not come over."""
    enough = outlets["residual_head_m"] >= outlets["needed_head_m"]
    return np.asarray(enough & ~outlets["served"], dtype=bool)


def _head_texts(outlets: gpd.GeoDataFrame, measures: Measures) -> list[str]:
    """Return the head left at each outlet; no figure holds where water does not come over."""
    return [
        words("maps.pressure.dry")
        if dry
        else letter.minus(measures.text("head", head))
        if np.isfinite(head)
        else ""
        for dry, head in zip(_dry(outlets), outlets["residual_head_m"], strict=True)
    ]


def _pressure_texts(pipes: gpd.GeoDataFrame, measures: Measures) -> list[tuple[str, ...]]:
    """Return the highest pressure in each pipe, nothing where still water never reaches it."""
    return [
        (measures.text("pressure", bar_from_head_m(head)),) if head > 0 else ()
        for head in pipes["highest_static_head_m"]
    ]


def _pressure_line(layers: Layers) -> str:
    outlets = layers["outlet"]
    short = int((~outlets["served"]).sum())
    parts = [words("maps.pressure.short", count=short, all=len(outlets))] if short else []
    parts.append(words(f"maps.pressure.{'outlets_dry' if _dry(outlets).any() else 'outlets'}"))
    parts.append(words("maps.pressure.pipes"))
    return letter.SEPARATOR.join(parts)
