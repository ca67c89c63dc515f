"""Pipes, sources, and the summits and hollows along the pipes."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely

from dewpond.base.model import Plan, Section
from dewpond.base.surface import FloatArray
from dewpond.outputs.layers.columns import LENGTH, LEVEL, table, texts


def pipes(plan: Plan) -> gpd.GeoDataFrame:
    """Return every pipe with the static heads along it, in order outward."""
    laid = plan.network.pipes
    heads = plan.heads.pipes.reindex(laid.index)
    size_mm = plan.project.design.pipe_outside_diameter_mm
    return table(
        plan,
        {
            "name": texts(list(laid.index)),
            "from": texts(list(laid["from_node"])),
            "to": texts(list(laid["to_node"])),
            "length_m": laid["length_m"].to_numpy(float).round(LENGTH),
            # The size of pipe already in the ground is not ours to state.
            "outside_diameter_mm": np.where(laid["laying"] == "existing", np.nan, size_mm),
            **{
                column: heads[column].to_numpy(float).round(LEVEL)
                for column in ("static_head_m", "highest_static_head_m", "lowest_static_head_m")
            },
            "laying": texts(list(laid["laying"])),
            "crossings": texts([tuple(crossings) for crossings in laid["crossings"]]),
        },
        list(laid.geometry),
    )


def sources(plan: Plan) -> gpd.GeoDataFrame:
    """Return every source; the one in use with the level of its still water."""
    given = plan.holding.sources
    points = [shapely.Point(source.easting_m, source.northing_m) for source in given]
    feeds = np.array([i == plan.network.source for i in range(len(given))], dtype=bool)
    easting, northing = np.array([[p.x, p.y] for p in points], dtype=float).reshape(-1, 2).T
    ground = plan.holding.surface.heights_m(easting, northing)
    known = plan.network.nodes["ground_level_m"][plan.network.nodes["kind"] == "source"]
    if len(known):
        ground = np.where(feeds, float(known.iloc[0]), ground)
    level, reason = plan.heads.source_level_m, plan.heads.source_level_reason
    return table(
        plan,
        {
            "name": texts([source.name for source in given]),
            "source_kind": texts([source.settings.kind for source in given]),
            "feeds_scheme": feeds,
            "ground_level_m": ground.round(LEVEL),
            "water_level_m": np.where(feeds, level, np.nan).round(LEVEL),
            "water_level_reason": texts([reason if feeding else None for feeding in feeds]),
        },
        points,
    )


def section_points(plan: Plan, kind: str, field: str) -> gpd.GeoDataFrame:
    """Return the summits or the hollows of every pipe, numbered outward from the source."""
    owners: list[str] = []
    rows: list[FloatArray] = []
    for pipe in plan.network.pipes.index:
        section: Section | None = plan.heads.sections.get(pipe)
        if section is None:
            continue
        at = list(getattr(section, field))
        columns = ("distance_m", "ground_level_m", "easting_m", "northing_m")
        rows.append(np.column_stack([getattr(section, column)[at] for column in columns]))
        owners.extend([pipe] * len(at))
    distance, level, easting, northing = np.vstack([np.empty((0, 4)), *rows]).T
    return table(
        plan,
        {
            "name": texts([f"{kind} {i + 1}" for i in range(len(owners))]),
            "pipe": texts(owners),
            "distance_m": distance.round(LENGTH),
            "ground_level_m": level.round(LEVEL),
            "static_head_m": (plan.heads.source_level_m - level).round(LEVEL),
        },
        list(shapely.points(easting, northing)),
    )
