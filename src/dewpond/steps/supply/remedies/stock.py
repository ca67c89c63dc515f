"""Remedies on the side of the stock: fewer head, longer hours, lower ground."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from dewpond.base.settings import TroughSettings
from dewpond.base.sources import allowed_friction_m
from dewpond.base.surface import FloatArray
from dewpond.base.words import words
from dewpond.steps.supply.case import Case
from dewpond.steps.supply.need import FLOW_MARGIN_L_MIN, HEAD_MARGIN_M
from dewpond.steps.supply.remedies.offer import Offer, offer

_WATER = frozenset({"flow", "head", "volume"})
_STEPS = 1000


def fewer_stock(case: Case, failing: frozenset[str]) -> Offer | None:
    """Return how many head the source waters, the other mobs as they are where that will do."""
    mobs = case.need.mobs
    if not failing & _WATER or mobs.empty or np.isnan(case.most_flow_l_min):
        return None
    key = "daily_l" if case.fill is not None else "flow_l_min"
    name = str(mobs[key].idxmax())
    mob, head = mobs.loc[name], int(mobs.at[name, "head"])
    kept = np.arange(head + 1) / max(head, 1)
    flow = case.need.flow_l_min - mob["flow_l_min"] * (1.0 - kept)
    daily = case.need.daily_l - mob["daily_l"] * (1.0 - kept)
    enough = np.flatnonzero(_carries(case, flow, daily))
    source = case.source.name
    if enough.size and 0 < enough[-1] < head:
        count = int(enough[-1])
        others = words("remedies.stock.other_stock_stays") if len(mobs) > 1 else ""
        text = words(
            "remedies.stock.fewer_head_of_mob",
            source=source,
            count=count,
            head=head,
            name=name,
            others=others,
        )
        return offer(text, _WATER, float(count), "head")
    share = np.arange(_STEPS + 1) / _STEPS
    enough = np.flatnonzero(
        _carries(case, case.need.flow_l_min * share, case.need.daily_l * share)
    )
    part = float(share[enough[-1]]) if enough.size else 0.0
    counts = np.floor(mobs["head"].to_numpy(float) * part + 1e-9).astype(int)
    if not counts.sum() or part >= 1.0:
        return None
    listed = [
        words("remedies.stock.head_of_mob", count=count, total=total, mob=mob)
        for count, total, mob in zip(counts, mobs["head"], mobs.index, strict=True)
    ]
    text = words("remedies.stock.fewer_head", source=source, names=" and ".join(listed))
    return offer(text, _WATER, float(counts.sum()), "head")


def fixed_troughs(case: Case, failing: frozenset[str], trough: TroughSettings) -> Offer | None:
    """Return what fixed troughs would do: longer hours and a buffer, so a lower flow."""
    slower = case.need.slower
    if not failing & {"flow", "head"} or slower.empty or np.isnan(case.most_flow_l_min):
        return None
    flow = case.need.fixed_flow_l_min
    mends = set()
    if flow <= case.most_flow_l_min + FLOW_MARGIN_L_MIN:
        mends.add("flow")
    if _reaches(case, flow):
        mends.add("head")
    by_friction = case.need.still_level_m <= float(case.intake.level_m[0])
    if "flow" not in failing and not by_friction:
        return None  # less flow does not lift water over ground that stands above it
    visit = slower["head"] * slower["litres_head_day"] / trough.drinks_a_day
    volume = float(np.ceil(visit.max() / 50.0) * 50.0)
    text = words(
        "remedies.stock.fixed_troughs",
        flow=flow,
        flow_l_min=case.need.flow_l_min,
        volume=volume,
        idxmax=visit.idxmax(),
    )
    if not mends & failing:
        text += words("remedies.stock.not_enough")
    return offer(text, mends, flow, "L/min")


def lower_ground(case: Case, failing: frozenset[str]) -> Offer | None:
    """Return which outlets lie low enough, friction allowed for by length; never the whole."""
    if "head" not in failing:
        return None
    highest, distance = _way_to(case)
    outlets = case.watering.outlets
    need = case.heads.nodes.loc[outlets.index, "ground_level_m"] + outlets["valve_head_m"]
    had = case.intake.level_at_m(outlets["design_flow_l_min"].to_numpy(float))
    low = [
        str(name)
        for name, had_m in zip(outlets.index, had, strict=True)
        if max(need[name], highest.get(str(name), -np.inf))
        + float(allowed_friction_m(case.supply, distance.get(str(name), 0.0)))
        <= had_m
    ]
    if not low or len(low) == len(outlets):
        return None
    text = words(
        "remedies.stock.lower_ground",
        name=case.source.name,
        count=len(low),
        outlets=len(outlets),
        names=", ".join(low),
    )
    return offer(text, (), float(len(low)), "outlets")


def _way_to(case: Case) -> tuple[dict[str, float], dict[str, float]]:
    """Return the highest ground on the way to each node and the length of the way [m]."""
    start = str(case.network.nodes.index[0])
    highest, distance = {start: -np.inf}, {start: 0.0}
    for name, pipe in case.network.pipes.iterrows():
        section = case.heads.sections[str(name)]
        ground = section.ground_level_m[np.isfinite(section.ground_level_m)]
        before = highest.get(pipe["from_node"], -np.inf)
        highest[pipe["to_node"]] = max(before, float(ground.max(initial=-np.inf)))
        distance[pipe["to_node"]] = float(section.distance_m[-1])
    return highest, distance


def _carries(case: Case, flow_l_min: FloatArray, daily_l: FloatArray) -> npt.NDArray[np.bool_]:
    """Return whether the source carries flows and days' demands, arrays of one shape."""
    enough = flow_l_min <= case.most_flow_l_min + FLOW_MARGIN_L_MIN
    enough &= daily_l <= case.intake.daily_volume_l
    return np.asarray(enough & _reaches(case, flow_l_min))


def _reaches(case: Case, flow_l_min: npt.ArrayLike) -> npt.NDArray[np.bool_]:
    """Return whether the level at the source is high enough under lower flows."""
    flow = np.asarray(flow_l_min, float)
    share = flow / case.need.flow_l_min if case.need.flow_l_min > 0 else np.ones(flow.shape)
    need = case.need.level_at_share_m(share)
    return np.asarray(case.intake.level_at_m(flow) >= need - HEAD_MARGIN_M)
