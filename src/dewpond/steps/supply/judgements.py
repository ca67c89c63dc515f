"""Each requirement of the scheme held against its source."""

from __future__ import annotations

import numpy as np

from dewpond.base.model import Delivery, Judgement
from dewpond.base.words import words
from dewpond.steps.supply.case import Case
from dewpond.steps.supply.machinery import labour_figures, suction_limit_m
from dewpond.steps.supply.need import (
    DELIVERED_SHARE,
    FLOW_MARGIN_L_MIN,
    HEAD_MARGIN_M,
    delivered_alone,
    delivered_together,
)
from dewpond.steps.supply.rules import air_gap_mm, bore_at_source_mm
from dewpond.steps.supply.tank import short_of_a_day_l

_VOLUME_MARGIN_L = 0.5


def judge(case: Case, delivery: Delivery) -> dict[str, Judgement]:
    """Return the judgements by what they are about, in the order an adviser would take them.

    Keys: "flow", "head", "delivered", "volume", "tank", "suction", "hauling", "air gap"; one that
    does not apply to the source is left out.
    """
    found = {
        "flow": _flow(case),
        "head": _head(case),
        "delivered": _delivered(case, delivery),
        "volume": _volume(case),
        "tank": _tank(case),
        "suction": _suction(case),
        "hauling": _hauling(case),
        "air gap": _air_gap(case),
    }
    return {key: judgement for key, judgement in found.items() if judgement is not None}


def _flow(case: Case) -> Judgement | None:
    most, wanted = case.most_flow_l_min, case.need.flow_l_min
    if np.isinf(most):
        return None
    name = case.source.name
    if np.isnan(most):
        slowest_s = 10.0 * 60.0 * case.supply.dry_summer_factor / max(wanted, 1e-9)
        reason = words("supply.judgements.flow_unmeasured", name=name, slowest_s=slowest_s)
    elif case.curve.falls:
        reason = words("supply.judgements.main_gives", name=name, most=most, wanted=wanted)
    else:
        reason = words("supply.judgements.source_yields", name=name, most=most, wanted=wanted)
    met = bool(most >= wanted - FLOW_MARGIN_L_MIN)
    return Judgement(
        words("supply.judgements.requirement_source_flow"), most, wanted, "L/min", met, reason
    )


def _head(case: Case) -> Judgement | None:
    if not np.isfinite(case.need.level_m):
        return None
    lack = case.lack_m
    if lack > HEAD_MARGIN_M:
        reason = words("supply.judgements.level_too_low", lack=lack, where=case.need.where)
        if case.need.still_level_m > float(case.intake.level_m[0]):
            reason += words("supply.judgements.no_pipe_can_mend")
    else:
        reason = words("supply.judgements.level_to_spare", value=-lack, where=case.need.where)
    return Judgement(
        words("supply.judgements.requirement_water_level"),
        case.level_m,
        case.need.level_m,
        "m",
        lack <= HEAD_MARGIN_M,
        reason,
    )


def _delivered(case: Case, delivery: Delivery) -> Judgement | None:
    where, flow, wanted = delivered_alone(delivery, case.watering)
    if not where:
        return None
    met = flow >= DELIVERED_SHARE * wanted
    reason = words("supply.judgements.worst_valve_flow", where=where, flow=flow, wanted=wanted)
    return Judgement(
        words(
            "supply.judgements.requirement_delivered_flow",
            some_without=bool(delivery.outlets["alone_l_min"].isna().any()),
        ),
        flow,
        wanted,
        "L/min",
        met,
        reason,
    )


def shared_warnings(case: Case, delivery: Delivery) -> tuple[str, ...]:
    """Return a sentence where an outlet is short while others stand open, valves unthrottled.

    Not a requirement: valves with head to spare take more than their share until their troughs
    are full, then leave it.
    """
    where, flow, wanted = delivered_together(delivery, case.watering)
    if not where or flow >= DELIVERED_SHARE * wanted:
        return ()
    others = delivery.outlets.at[where, "worst_with"]
    beside = (
        words("supply.judgements.with_named_open", names=" and ".join(others))
        if len(others)
        else words("supply.judgements.with_others_open")
    )
    return (
        words(
            "supply.judgements.short_while_others_refill",
            where=where,
            flow=flow,
            wanted=wanted,
            beside=beside,
        ),
    )


def _volume(case: Case) -> Judgement | None:
    daily, wanted = case.intake.daily_volume_l, case.need.daily_l
    if np.isinf(daily):
        return None
    reason = words("supply.judgements.peak_day_takes", wanted=wanted)
    fill = case.fill
    if fill is not None and np.isfinite(fill.flow_l_min):
        reason += words(
            "supply.judgements.filler_brings",
            fed_by=fill.fed_by,
            flow_l_min=fill.flow_l_min,
            hours=fill.hours,
        )
        lift = fill.lift_m(min(case.fill_flow_l_min, fill.curve.most_flow_l_min))
        if fill.flow_l_min <= 0.0 and lift > 0:
            reason += words("supply.judgements.filler_too_low", lift=lift)
    met = daily >= wanted - _VOLUME_MARGIN_L
    if not met and daily > 0.0 and not case.need.mobs.empty:
        reason += words(
            "supply.judgements.days_water", daily=daily, served=_served(case, daily / wanted)
        )
    return Judgement("Water a day", daily, wanted, "L", met, reason)


def _served(case: Case, share: float) -> str:
    """Return how many head a share of the day's water is enough for, each mob cut alike."""
    mobs = case.need.mobs
    counts = np.floor(mobs["head"].to_numpy(float) * share + 1e-9)
    return " and ".join(
        words("supply.judgements.head_of_mob", count=count, total=total, mob=mob)
        for count, total, mob in zip(counts, mobs["head"], mobs.index, strict=True)
    )


def _tank(case: Case) -> Judgement | None:
    tank, volume = case.tank, case.source.settings.tank_volume_l
    if tank is None or volume is None:
        return None
    reason = words(
        "supply.judgements.tank_volume_parts", balance_l=tank.balance_l, reserve_l=tank.reserve_l
    )
    fill = case.fill
    if fill is not None and case.source.settings.kind != "bowser":
        short = short_of_a_day_l(
            case.need.daily_l, tank.inflow_l_min, fill.hours, volume, case.supply, case.by_sun
        )
        if short > _VOLUME_MARGIN_L:
            reason += words("supply.judgements.tank_leaves_short", short=short)
    met = volume >= tank.volume_l - _VOLUME_MARGIN_L
    return Judgement(
        words("supply.judgements.requirement_tank_volume"), volume, tank.volume_l, "L", met, reason
    )


def _suction(case: Case) -> Judgement | None:
    pump = case.pump
    if pump is None or pump.suction_lift_m is None:
        return None
    limit = suction_limit_m(case)
    reason = words("supply.judgements.suction_limit", limit=limit)
    met = pump.suction_lift_m <= limit
    return Judgement(
        words("supply.judgements.requirement_suction_lift"),
        pump.suction_lift_m,
        limit,
        "m",
        met,
        reason,
    )


def _hauling(case: Case) -> Judgement | None:
    labour = labour_figures(case)
    if not labour:
        return None
    hours, limit = labour["hours_day"], case.supply.hauling_hours_limit
    reason = words(
        "supply.judgements.bowser_loads",
        trips_day=labour["trips_day"],
        bowser_l=case.supply.bowser_l,
        bowser_trip_h=case.supply.bowser_trip_h,
    )
    return Judgement(
        words("supply.judgements.requirement_hauling"),
        hours,
        limit,
        "h",
        hours <= limit + 1e-9,
        reason,
    )


def _air_gap(case: Case) -> Judgement | None:
    """Judge whether troughs could send water back into a main."""
    if case.source.settings.kind != "mains":
        return None  # what feeds a tank enters it through an air gap, as the cautions say
    gap = air_gap_mm(bore_at_source_mm(case))
    if case.fill is not None:
        had, reason = gap, words("supply.judgements.tank_parts_main")
    elif case.trough.inlet == "over the rim":
        had, reason = gap, words("supply.judgements.inlet_over_rim")
    else:
        had = 0.0
        reason = words("supply.judgements.submerged_inlet")
    return Judgement(
        words("supply.judgements.requirement_air_gap"), had, gap, "mm", had >= gap, reason
    )
