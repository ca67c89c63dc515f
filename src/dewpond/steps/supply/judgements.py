"""Each requirement of the scheme held against its source."""

from __future__ import annotations

import numpy as np

from dewpond.base.model import Delivery, Judgement
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
        reason = (
            f"the flow of {name} was not measured, so nothing shows that it is enough; time a "
            f"bucket there: 10 L from an open pipe in {slowest_s:.0f} s is the least that could do"
        )
    elif case.curve.falls:
        reason = (
            f"{name} gives {most:.1f} L/min in a dry summer with no pressure left; the mobs that "
            f"may drink together draw {wanted:.1f}"
        )
    else:
        reason = (
            f"{name} yields {most:.1f} L/min; the mobs that may drink together draw {wanted:.1f}"
        )
    met = bool(most >= wanted - FLOW_MARGIN_L_MIN)
    return Judgement("Flow of the source", most, wanted, "L/min", met, reason)


def _head(case: Case) -> Judgement | None:
    if not np.isfinite(case.need.level_m):
        return None
    lack = case.lack_m
    if lack > HEAD_MARGIN_M:
        reason = f"{lack:.1f} m too low for {case.need.where}"
        if case.need.still_level_m > float(case.intake.level_m[0]):
            reason += ", which no pipe can mend: ground on the way stands above still water"
    else:
        reason = f"{-lack:.1f} m to spare at {case.need.where}, the most demanding place"
    return Judgement(
        "Level of the water at the source, under the design flow",
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
    reason = f"{where}, the worst, passes {flow:.1f} of {wanted:.1f} L/min when it alone is open"
    return Judgement("Flow delivered at every outlet", flow, wanted, "L/min", met, reason)


def shared_warnings(case: Case, delivery: Delivery) -> tuple[str, ...]:
    """Return a sentence where an outlet is short while others stand open, valves unthrottled.

    Not a requirement: valves with head to spare take more than their share until their troughs
    are full, then leave it.
    """
    where, flow, wanted = delivered_together(delivery, case.watering)
    if not where or flow >= DELIVERED_SHARE * wanted:
        return ()
    others = delivery.outlets.at[where, "worst_with"]
    beside = f"with {' and '.join(others)} open too" if len(others) else "with others open too"
    return (
        f"{where} gets {flow:.1f} of {wanted:.1f} L/min {beside}, until those troughs are full: "
        "their valves have head to spare and pass more than they need; smaller seats there leave "
        "it its share",
    )


def _volume(case: Case) -> Judgement | None:
    daily, wanted = case.intake.daily_volume_l, case.need.daily_l
    if np.isinf(daily):
        return None
    reason = f"the peak day takes {wanted:,.0f} L"
    fill = case.fill
    if fill is not None and np.isfinite(fill.flow_l_min):
        reason += f"; {fill.fed_by} brings {fill.flow_l_min:.1f} L/min in {fill.hours:g} h"
        lift = fill.lift_m(min(case.fill_flow_l_min, fill.curve.most_flow_l_min))
        if fill.flow_l_min <= 0.0 and lift > 0:
            reason += f", its water {lift:.1f} m too low to run in"
    met = daily >= wanted - _VOLUME_MARGIN_L
    if not met and daily > 0.0 and not case.need.mobs.empty:
        reason += f"; {daily:,.0f} L are a day's water of {_served(case, daily / wanted)}"
    return Judgement("Water a day", daily, wanted, "L", met, reason)


def _served(case: Case, share: float) -> str:
    """Return how many head a share of the day's water is enough for, each mob cut alike."""
    mobs = case.need.mobs
    counts = np.floor(mobs["head"].to_numpy(float) * share + 1e-9)
    return " and ".join(
        f"{count:.0f} of the {total:.0f} {mob}"
        for count, total, mob in zip(counts, mobs["head"], mobs.index, strict=True)
    )


def _tank(case: Case) -> Judgement | None:
    tank, volume = case.tank, case.source.settings.tank_volume_l
    if tank is None or volume is None:
        return None
    reason = f"{tank.balance_l:,.0f} L even out the day and {tank.reserve_l:,.0f} L are reserve"
    fill = case.fill
    if fill is not None and case.source.settings.kind != "bowser":
        short = short_of_a_day_l(
            case.need.daily_l, tank.inflow_l_min, fill.hours, volume, case.supply, case.by_sun
        )
        if short > _VOLUME_MARGIN_L:
            reason += f"; with the tank that is there stock go short of {short:,.0f} L every day"
    met = volume >= tank.volume_l - _VOLUME_MARGIN_L
    return Judgement("Volume of the tank", volume, tank.volume_l, "L", met, reason)


def _suction(case: Case) -> Judgement | None:
    pump = case.pump
    if pump is None or pump.suction_lift_m is None:
        return None
    limit = suction_limit_m(case)
    reason = f"air pressure at that altitude carries water {limit:.1f} m up to such a pump"
    met = pump.suction_lift_m <= limit
    return Judgement("Suction lift of the pump", pump.suction_lift_m, limit, "m", met, reason)


def _hauling(case: Case) -> Judgement | None:
    labour = labour_figures(case)
    if not labour:
        return None
    hours, limit = labour["hours_day"], case.supply.hauling_hours_limit
    reason = (
        f"{labour['trips_day']:.0f} loads of {case.supply.bowser_l:,.0f} L, "
        f"{case.supply.bowser_trip_h:g} h each"
    )
    return Judgement(
        "Hours a day of hauling water", hours, limit, "h", hours <= limit + 1e-9, reason
    )


def _air_gap(case: Case) -> Judgement | None:
    """Judge whether troughs could send water back into a main."""
    if case.source.settings.kind != "mains":
        return None  # what feeds a tank enters it through an air gap, as the cautions say
    gap = air_gap_mm(bore_at_source_mm(case))
    if case.fill is not None:
        had, reason = gap, "the tank at the main parts it from the troughs by an air gap"
    elif case.trough.inlet == "over the rim":
        had, reason = gap, "water enters every trough over its rim"
    else:
        had = 0.0
        reason = (
            "a submerged inlet could draw trough water back into the main: it must not be fed "
            "directly, but through a tank with an air gap"
        )
    return Judgement(
        "Air gap between the main and the troughs", had, gap, "mm", had >= gap, reason
    )
