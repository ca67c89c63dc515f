"""Level of still water at any place of the scheme, after every break in the pressure."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from dewpond.base.model import Plan
from dewpond.base.surface import FloatArray


def still_level_m(plan: Plan, pipe: str, distance_m: Sequence[float] | FloatArray) -> FloatArray:
    """Return the level of still water along a pipe [m, datum of the elevation].

    Parameters
    ----------
    plan : Plan
    pipe : str
    distance_m : sequence of float
        From the source.

    Returns
    -------
    array of float
        At a break, the level before it: what the pipe must stand.
    """
    at = np.asarray(distance_m, dtype=float)
    grade = plan.scheme.sizes.grade.get(pipe)
    if grade is None or grade.empty:
        return np.full(at.shape, plan.heads.source_level_m)
    position = np.searchsorted(grade["distance_m"].to_numpy(float), at - 1e-6)
    levels = grade["static_level_m"].to_numpy(float)
    return np.asarray(levels[np.minimum(position, len(levels) - 1)], dtype=float)


def static_heads_m(plan: Plan, pipe: str) -> tuple[float, float, float]:
    """Return static head at the end of a pipe, the highest and the lowest along it [m]."""
    grade = plan.scheme.sizes.grade.get(pipe)
    if grade is None or grade.empty:
        row = plan.heads.pipes.reindex([pipe]).iloc[0]
        end, highest, lowest = row[
            ["static_head_m", "highest_static_head_m", "lowest_static_head_m"]
        ]
        return float(end), float(highest), float(lowest)
    head = (grade["static_level_m"] - grade["ground_level_m"]).to_numpy(float)
    if np.isnan(head).all():
        return np.nan, np.nan, np.nan
    return float(head[-1]), float(np.nanmax(head)), float(np.nanmin(head))


def static_head_at_m(plan: Plan, node: str) -> float:
    """Return the static head at a node [m], NaN where no pipe comes to it."""
    feeding = plan.network.pipes.index[plan.network.pipes["to_node"] == node]
    if len(feeding):
        return static_heads_m(plan, str(feeding[0]))[0]
    if node in plan.heads.nodes.index:
        return float(plan.heads.nodes.at[node, "static_head_m"])
    return float("nan")
