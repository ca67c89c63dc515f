"""The map of reach: how far stock walk to water, and the ground out of reach."""

from __future__ import annotations

import numpy as np
import shapely
from matplotlib.figure import Figure

from dewpond.base.model import Plan
from dewpond.base.words import words
from dewpond.outputs.drawing import ground, symbols
from dewpond.outputs.drawing import lettering as letter
from dewpond.outputs.drawing.maps import (
    Layers,
    close_to_contours,
    finish_map,
    measures_of,
    space_left,
    start_map,
    unit_m,
)
from dewpond.outputs.drawing.naming import name_paddocks


def reach_map(plan: Plan, layers: Layers) -> Figure:
    """Draw how far stock walk to water in every paddock, and the ground out of reach.

    Parameters and result as `plan_map`.
    """
    sheet, edges = start_map(plan, layers)
    measures = measures_of(plan)
    axes, frame = sheet.axes, shapely.box(*sheet.extent_m)
    ground.draw_walk_bands(axes, plan, edges, alpha=1.0)
    contours = ground.draw_walk_contours(axes, plan, edges[1:-1])
    features = symbols.seen_features(plan, frame)
    around = symbols.draw_surroundings(axes, features)
    missed = symbols.draw_uncovered(axes, layers["uncovered"])
    fences = symbols.draw_paddocks(axes, layers["paddock"])
    outlets = symbols.draw_outlets(axes, layers["outlet"], sheet.metres_per_point)
    entries = [
        *outlets,
        *symbols.band_entries(edges, 1.0, 1.0, measures),
        *missed,
        *fences,
        *around,
    ]
    space = space_left(sheet, layers)
    unnamed = name_paddocks(sheet, layers["paddock"], space, areas=False)
    close_to_contours(space, layers, features)
    for lines in contours:
        ground.label_contours(axes, lines, space, sheet.metres_per_point, unit_m=unit_m(measures))
    if contours:
        label = words("maps.key.equal_walk", unit=measures.sign("length"))
        entries.append(symbols.contour_entry(label, strong=True))
    return finish_map(plan, sheet, entries, "reach", _reach_line(plan), unnamed)


def _reach_line(plan: Plan) -> str:
    totals, measures = plan.totals, measures_of(plan)
    parts = [words("maps.reach.limit", length=measures.text("length", plan.reach.limit_m))]
    if plan.reach.hose_m > 0:
        hose = measures.text("length", plan.reach.hose_m)
        parts.append(words("maps.reach.hose", length=hose))
    if np.isfinite(walk_m := totals.get("worst_walk_m", np.nan)):
        parts.append(words("maps.totals.walk", length=measures.text("length", walk_m)))
    if np.isfinite(totals.get("covered_share", np.nan)):
        # Rounded down: 100 % is said only of a holding covered to the last cell.
        percent = np.floor(totals["covered_share"] * 1000) / 10
        parts.append(words("maps.reach.covered", percent=f"{percent:g}"))
    return letter.SEPARATOR.join(parts)
