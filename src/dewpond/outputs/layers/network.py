"""Pipes, and the summits and hollows along them."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely

from dewpond.base.laying import LAYINGS, laid_m
from dewpond.base.model import Plan, Section
from dewpond.base.parcels import parcels_under
from dewpond.base.surface import FloatArray
from dewpond.base.words import words
from dewpond.outputs.layers.columns import (
    FLOW,
    LENGTH,
    LEVEL,
    PRESSURE,
    SIZE,
    SPEED,
    figures,
    sentences,
    table,
    texts,
)
from dewpond.outputs.layers.levels import static_heads_m, still_level_m


def pipes(plan: Plan) -> gpd.GeoDataFrame:
    """Return every pipe with its size and the flow and heads along it, in order outward."""
    laid = plan.network.pipes
    sizes = plan.scheme.sizes.pipes.reindex(laid.index)
    flow = plan.scheme.flows.pipes["design_flow_l_min"].reindex(laid.index)
    still = np.array([static_heads_m(plan, str(pipe)) for pipe in laid.index]).reshape(-1, 3)
    return table(
        plan,
        {
            "name": texts(list(laid.index)),
            "from": texts(list(laid["from_node"])),
            "to": texts(list(laid["to_node"])),
            "parcels": texts(
                parcels_under(
                    plan.holding.paddocks, list(laid.geometry), plan.project.paddocks.gap_width_m
                )
            ),
            "length_m": figures(laid["length_m"], LENGTH),
            "material": texts([v if isinstance(v, str) else None for v in sizes["material"]]),
            "outside_diameter_mm": figures(sizes["outside_diameter_mm"], SIZE),
            "inside_diameter_mm": figures(sizes["inside_diameter_mm"], SIZE),
            "sdr": figures(sizes["sdr"], SIZE),
            "pressure_class_bar": figures(sizes["pressure_class_bar"], PRESSURE),
            "design_flow_l_min": figures(flow, FLOW),
            "velocity_m_s": figures(sizes["velocity_m_s"], SPEED),
            "friction_loss_m": figures(sizes["friction_loss_m"], LEVEL),
            "static_head_m": figures(still[:, 0], LEVEL),
            "highest_static_head_m": figures(still[:, 1], LEVEL),
            "lowest_static_head_m": figures(still[:, 2], LEVEL),
            "lowest_residual_head_m": figures(sizes["lowest_residual_head_m"], LEVEL),
            "laying": texts(list(laid["laying"])),
            **_laid_by_kind(laid),
            "crossings": texts([tuple(crossings) for crossings in laid["crossings"]]),
            "notes": texts([_pipe_notes(plan, str(pipe)) for pipe in laid.index]),
        },
        list(laid.geometry),
    )


def _laid_by_kind(laid: gpd.GeoDataFrame) -> dict[str, FloatArray]:
    """Return metres laid in each way; none of pipe that is in the ground already."""
    rows = [
        laid_m(runs, round(float(length_m), LENGTH))
        for runs, length_m in zip(laid["laying_m"], laid["length_m"], strict=True)
    ]
    return {
        f"{kind.replace(' ', '_')}_m": np.array([row[kind] for row in rows], dtype=float)
        for kind in LAYINGS
    }


def _note_of_existing(plan: Plan, pipe: str, fits: bool) -> str:
    """Say on whose word pipe in the ground has its size."""
    if not fits:
        return words("features.network.existing_unknown")
    size_mm = plan.network.pipes.get("existing_outside_diameter_mm")
    if (
        size_mm is not None
        and size_mm.at[pipe] == plan.scheme.sizes.pipes.at[pipe, "outside_diameter_mm"]
    ):
        return words("features.network.existing_from_map")
    return words("features.network.existing_assumed")


def _pipe_notes(plan: Plan, pipe: str) -> str:
    """Say what is not known of a pipe, and which requirements are missed in it."""
    sizes = plan.scheme.sizes
    notes = []
    old = plan.network.pipes.at[pipe, "laying"] == "existing"
    fits = pipe in sizes.pipes.index and np.isfinite(sizes.pipes.at[pipe, "outside_diameter_mm"])
    if old:
        notes.append(_note_of_existing(plan, pipe, fits))
    elif not fits:
        notes.append(words("features.network.no_pipe_will_do"))
    for short in sizes.shortfalls:
        if short.where == pipe:
            notes.append(
                words(
                    "features.network.requirement_missed",
                    requirement=short.requirement,
                    figure=short.figure,
                    unit=short.unit,
                    limit=short.limit,
                )
            )
    return sentences(notes)


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
        found = np.column_stack([getattr(section, column)[at] for column in columns])
        still = still_level_m(plan, str(pipe), found[:, 0])
        rows.append(np.column_stack([found, still - found[:, 1]]))
        owners.extend([str(pipe)] * len(at))
    distance, level, easting, northing, head = np.vstack([np.empty((0, 5)), *rows]).T
    return table(
        plan,
        {
            "name": texts([f"{kind} {i + 1}" for i in range(len(owners))]),
            "pipe": texts(owners),
            "distance_m": figures(distance, LENGTH),
            "ground_level_m": figures(level, LEVEL),
            "static_head_m": figures(head, LEVEL),
        },
        list(shapely.points(easting, northing)),
    )
