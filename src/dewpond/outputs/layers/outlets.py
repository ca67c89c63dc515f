"""Outlets: what each serves, with what head and flow, from what trough, and what to know of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd

from dewpond.base.model import Plan
from dewpond.base.parcels import parcels_under
from dewpond.base.words import words
from dewpond.outputs.layers.columns import (
    FLOW,
    LEVEL,
    LITRES,
    SHARE,
    SIZE,
    figures,
    sentences,
    table,
    texts,
)
from dewpond.outputs.layers.levels import static_head_at_m, static_heads_m

Summit = tuple[float, str]
"""Static head over the highest ground on the way [m], and the pipe that crosses it."""
HEAD_ROUNDING_M = 0.001
"""A millimetre of head is rounding, not a shortage."""


def outlets(plan: Plan) -> gpd.GeoDataFrame:
    """Return every chosen outlet; one that no pipe reaches has neither head nor flow."""
    nodes = plan.network.nodes[plan.network.nodes["kind"] == "outlet"]
    sites = [*nodes["site"].astype(int), *plan.network.unconnected]
    # Outlets that no pipe reaches have no node; they are numbered on from those that have.
    names = [
        *nodes.index,
        *(f"outlet {len(nodes) + 1 + i}" for i in range(len(plan.network.unconnected))),
    ]
    chosen = plan.candidates.sites.loc[list(plan.network.unconnected)]
    scheme = plan.scheme
    heads, flows = scheme.sizes.outlets.reindex(names), scheme.delivery.outlets.reindex(names)
    watering = scheme.watering.outlets.reindex(names)
    serves = [_served(plan, site) for site in sites]
    summits = lowest_on_the_way(plan)
    paddock_name = plan.holding.paddocks["name"]
    return table(
        plan,
        {
            "name": texts(names),
            "serves": texts([tuple(paddock_name.loc[list(ids)]) for ids in serves]),
            "parcels": texts(
                parcels_under(
                    plan.holding.paddocks,
                    [*nodes.geometry, *chosen.geometry],
                    plan.project.paddocks.gap_width_m,
                )
            ),
            "ground_level_m": figures(
                [*nodes["ground_level_m"], *chosen["ground_level_m"]], LEVEL
            ),
            "static_head_m": figures([static_head_at_m(plan, name) for name in names], LEVEL),
            "residual_head_m": figures(heads["residual_head_m"], LEVEL),
            "needed_head_m": figures(heads["needed_head_m"], LEVEL),
            "served": np.array(
                [_served_as_asked(plan, name, summits) for name in names], dtype=bool
            ),
            **_sureness(plan, names),
            "design_flow_l_min": figures(watering["design_flow_l_min"], FLOW),
            "available_flow_l_min": figures(flows["available_flow_l_min"], FLOW),
            "trough": texts([_text(value) for value in watering["trough"]]),
            "trough_volume_l": figures(watering["trough_volume_l"], LITRES),
            "troughs": figures(watering["troughs"], 0),
            "float_valve_seat_mm": figures(watering["seat_bore_mm"], SIZE),
            "fittings": texts([_fittings(row) for _, row in watering.iterrows()]),
            "notes": texts(
                [_notes(plan, *row, summits) for row in zip(names, sites, serves, strict=True)]
            ),
        },
        [*nodes.geometry, *chosen.geometry],
    )


def _sureness(plan: Plan, names: Sequence[str]) -> dict[str, npt.NDArray[np.float64]]:
    """Return how sure each outlet is; nothing where confidence was not assessed."""
    decimals = {"chance": SHARE, "spare_head_low_m": LEVEL, "spare_head_high_m": LEVEL}
    if plan.confidence is None:
        return {column: np.full(len(names), np.nan) for column in decimals}
    found = plan.confidence.outlets.reindex(names)
    return {column: figures(found[column], places) for column, places in decimals.items()}


def _served_as_asked(plan: Plan, name: str, summits: Mapping[str, Summit]) -> bool:
    """Say whether water comes over all ground on the way, with the head that the valve needs."""
    heads = plan.scheme.sizes.outlets
    if name not in heads.index or is_behind_high_ground(name, summits):
        return False
    residual, needed = heads.loc[name, ["residual_head_m", "needed_head_m"]]
    return bool(residual >= needed - HEAD_ROUNDING_M)


def is_behind_high_ground(name: str, summits: Mapping[str, Summit]) -> bool:
    """Say whether ground on the way to an outlet lies above the still water.

    Parameters
    ----------
    name : str
    summits : mapping
        From `lowest_on_the_way`.
    """
    return name in summits and summits[name][0] < -HEAD_ROUNDING_M


def lowest_on_the_way(plan: Plan) -> dict[str, Summit]:
    """Return for every node that pipe leads to the lowest static head before it, and the pipe."""
    found: dict[str, Summit] = {}
    ways = plan.network.pipes
    for pipe, start, end in zip(ways.index, ways["from_node"], ways["to_node"], strict=True):
        here = (static_heads_m(plan, str(pipe))[2], str(pipe))
        before = found.get(str(start), here)  # pipes are ordered outward
        found[str(end)] = here if here[0] < before[0] else before
    return found


def _served(plan: Plan, site: int) -> tuple[int, ...]:
    """Return the ids of the paddocks in which some ground walks to this site."""
    return tuple(
        int(i) for i in np.unique(plan.reach.cells["paddock"][plan.siting.nearest_site == site])
    )


def _text(value: object) -> str | None:
    return value if isinstance(value, str) and value else None


def _fittings(watering: pd.Series) -> tuple[str, ...]:
    """Return what an outlet is fitted with; nothing is known of one that no pipe reaches."""
    if not np.isfinite(float(watering["design_flow_l_min"])):
        return ()
    fittings = [words("features.outlets.service_valve")]
    bore_mm = float(watering["seat_bore_mm"])
    if np.isfinite(bore_mm):
        coefficient = float(watering["discharge_coefficient"])
        fittings.append(
            words(
                "features.outlets.float_valve",
                bore_mm=bore_mm,
                coefficient=coefficient,
            )
        )
    troughs = float(watering["troughs"])
    if np.isfinite(troughs) and troughs > 1:
        fittings.append(words("features.outlets.trough_link", troughs=troughs))
    return tuple(fittings)


def _notes(
    plan: Plan, name: str, site: int, serves: Sequence[int], summits: Mapping[str, Summit]
) -> str:
    names = plan.holding.paddocks["name"]
    notes = []
    if plan.candidates.sites.at[site, "kind"] == "inside":
        notes.append("inside the paddock")
    elif len(serves) > 1:
        first, last = ", ".join(names.loc[list(serves[:-1])]), names.loc[serves[-1]]
        notes.append(words("features.outlets.on_fence_between", first=first, last=last))
    if name not in plan.heads.nodes.index:
        return sentences([*notes, words("features.outlets.no_way_for_pipe")])
    watering = plan.scheme.watering.outlets
    if name in watering.index:
        notes.extend(watering.at[name, "notes"])
    return sentences([*notes, *_head_notes(plan, name, summits)])


def _head_notes(plan: Plan, name: str, summits: Mapping[str, Summit]) -> list[str]:
    """Say by how much head falls short, at an outlet or on the way to it."""
    notes = []
    head = static_head_at_m(plan, name)
    if head < 0:
        notes.append(words("features.outlets.above_still_water", value=-head))
    summit, pipe = summits.get(name, (np.inf, ""))
    if summit < min(head, 0.0):
        notes.append(words("features.outlets.rise_on_the_way", pipe=pipe, value=-summit))
    heads = plan.scheme.sizes.outlets
    if name in heads.index:
        residual, needed = heads.loc[name, ["residual_head_m", "needed_head_m"]]
        if np.isnan(residual):
            notes.append(words("features.outlets.no_head_known"))
        elif residual < needed - HEAD_ROUNDING_M:
            notes.append(
                words(
                    "features.outlets.head_short",
                    short_m=needed - residual,
                    needed_m=needed,
                )
            )
    return notes
