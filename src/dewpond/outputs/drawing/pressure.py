"""The map of pressure: head left at every outlet, pressure and class of every pipe."""

from __future__ import annotations

import itertools

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely
from matplotlib.figure import Figure

from dewpond.base.model import Plan
from dewpond.base.units import bar_from_head_m
from dewpond.outputs.drawing import ground, pipework, symbols
from dewpond.outputs.drawing import lettering as letter
from dewpond.outputs.drawing.maps import (
    Layers,
    bounds_of,
    close_to_contours,
    draw_on_pipes,
    finish_map,
    key_lines,
    shown_sources,
    space_left,
)
from dewpond.outputs.drawing.naming import name_outlets, name_paddocks, name_pipes, name_source
from dewpond.outputs.drawing.sheet import new_sheet

HEAD_SHADES = ("#f4f7c4", "#a1dab4", "#41b6c4", "#2c7fb8", "#253494")
"""From little head to much, after ColorBrewer's YlGnBu: dark to light in grey as well."""
_HEAD_EDGES_M = (10.0, 20.0, 40.0, 60.0)


def pressure_map(plan: Plan, layers: Layers) -> Figure:
    """Draw residual head at every outlet, and pressure and class of every pipe.

    Parameters and result as `plan_map`.
    """
    sheet = new_sheet(
        bounds_of(plan, layers), key_lines(plan, layers, "pressure_class_bar", len(HEAD_SHADES))
    )
    axes, frame = sheet.axes, shapely.box(*sheet.extent_m)
    relief = ground.sample_ground(plan.holding.surface, sheet.extent_m)
    ground.draw_hillshade(axes, relief)
    contours = ground.draw_height_contours(axes, relief)
    features = symbols.seen_features(plan, frame)
    around = symbols.draw_surroundings(axes, features)
    fences = symbols.draw_paddocks(axes, layers["paddock"])
    pipes = pipework.draw_pipes_by_class(axes, layers["pipe"])
    points, places = draw_on_pipes(sheet, layers, ("break_tank", "reducing_valve"))
    source = symbols.draw_sources(axes, shown_sources(layers, frame))
    outlets = symbols.draw_discs(
        axes, layers["outlet"], _head_groups(layers["outlet"]), sheet.metres_per_point
    )
    entries = [*source, *pipes, *points, *outlets, *fences, *around]
    space = space_left(sheet, layers, places)
    name_outlets(sheet, layers["outlet"], _head_texts(layers["outlet"]), space)
    name_source(sheet, shown_sources(layers, frame), space)
    name_pipes(sheet, layers["pipe"], _pressure_texts(layers["pipe"]), space)
    name_paddocks(sheet, layers["paddock"], space, areas=False)
    close_to_contours(space, layers, features)
    if contours is not None:
        lines, interval = contours
        ground.label_contours(axes, ground.contour_lines(lines), space, sheet.metres_per_point)
        entries.append(symbols.contour_entry(f"Ground contour, every {interval:g} m"))
    return finish_map(plan, sheet, entries, "pressure", _pressure_line(layers))


def _head_groups(
    outlets: gpd.GeoDataFrame,
) -> list[tuple[npt.NDArray[np.bool_], str, str, str]]:
    """Return the outlets by residual head: which, face, ink, line of the key."""
    head = outlets["residual_head_m"].to_numpy(float)
    joined = outlets["static_head_m"].notna().to_numpy(bool)
    served = outlets["served"].to_numpy(bool)
    band = np.digitize(head, _HEAD_EDGES_M)
    labels = [
        f"Outlet with less than {_HEAD_EDGES_M[0]:g} m of head",
        *(f"Outlet with {a:g} to {b:g} m of head" for a, b in itertools.pairwise(_HEAD_EDGES_M)),
        f"Outlet with {_HEAD_EDGES_M[-1]:g} m of head or more",
    ]
    inks = [letter.INK] * 3 + ["white"] * 2
    return [
        (~joined, "white", letter.MUTED, "Outlet that no pipe can reach"),
        (joined & ~served, "white", letter.MISSED, "Outlet without the water it needs"),
        *(
            (served & (band == i), HEAD_SHADES[i], inks[i], labels[i])
            for i in range(len(HEAD_SHADES))
        ),
    ]


def _dry(outlets: gpd.GeoDataFrame) -> npt.NDArray[np.bool_]:
    """Say which outlets have head enough, yet lie behind ground that water does not come over."""
    enough = outlets["residual_head_m"] >= outlets["needed_head_m"]
    return np.asarray(enough & ~outlets["served"], dtype=bool)


def _head_texts(outlets: gpd.GeoDataFrame) -> list[str]:
    """Return the head left at each outlet; no figure holds where water does not come over."""
    return [
        "dry"
        if dry
        else f"{head:.1f} m".replace("-", "\N{MINUS SIGN}")
        if np.isfinite(head)
        else ""
        for dry, head in zip(_dry(outlets), outlets["residual_head_m"], strict=True)
    ]


def _pressure_texts(pipes: gpd.GeoDataFrame) -> list[tuple[str, ...]]:
    """Return the highest pressure in each pipe, nothing where still water never reaches it."""
    return [
        (f"{bar_from_head_m(head):.1f} bar",) if head > 0 else ()
        for head in pipes["highest_static_head_m"]
    ]


def _pressure_line(layers: Layers) -> str:
    outlets = layers["outlet"]
    short = int((~outlets["served"]).sum())
    parts = [f"{short} of {len(outlets)} outlets without the water they need"] if short else []
    behind = ", dry behind high ground" if _dry(outlets).any() else ""
    parts.append(f"outlets: head left at design flow{behind}")
    parts.append("pipes: highest pressure without flow")
    return "  ·  ".join(parts)
