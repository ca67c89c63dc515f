"""Which fields the pressure of a source reaches without a pump."""

from __future__ import annotations

from typing import Any

import numpy as np

from dewpond.base.model import Plan

_PRESSED = ("mains", "header_tank", "spring")


def gravity_of_fields(plan: Plan) -> dict[int, dict[str, Any]]:
    """Return by grazed field whether still water of a source stands above its ground.

    Taken from the highest of the sources that were tried and need no pump: mains, header tanks
    and springs. Losses in the pipe and rises on the way to the field are not in it; the plan of
    the holding judges those.

    Returns
    -------
    dict of int to dict
        ``lowest_ground_m``, ``highest_ground_m``, ``gravity`` ("all" of the ground has the least
        static head, "part", "none"), ``gravity_source`` and ``gravity_head_m`` (static head at
        the highest ground of the field; None without such a source).
    """
    level_m, name = _highest_source(plan)
    least_m = plan.project.layout.least_static_head_m
    cells = plan.reach.cells
    ground_m = plan.holding.surface.heights_m(cells["easting_m"], cells["northing_m"])
    found = {}
    for paddock, rows in cells.groupby("paddock", sort=True).indices.items():
        known = ground_m[rows][np.isfinite(ground_m[rows])]
        if not known.size:
            continue
        low, high = float(known.min()), float(known.max())
        reaches = level_m - high >= least_m, level_m - low >= least_m
        found[int(paddock)] = {
            "lowest_ground_m": low,
            "highest_ground_m": high,
            "gravity": "all" if reaches[0] else "part" if reaches[1] else "none",
            "gravity_source": name,
            "gravity_head_m": level_m - high,
        }
    return found


def _highest_source(plan: Plan) -> tuple[float, str | None]:
    levels = [
        (scheme.heads.source_level_m, source.name)
        for scheme in plan.schemes
        for source in [plan.holding.sources[scheme.network.source]]
        if source.settings.kind in _PRESSED
        and source.settings.pump is None
        and np.isfinite(scheme.heads.source_level_m)
    ]
    return max(levels, key=lambda item: item[0]) if levels else (-np.inf, None)
