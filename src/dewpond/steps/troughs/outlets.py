"""What stands at each outlet: troughs, valve and what the reader should know of them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from dewpond.base.float_valves import Seat, choose_seat
from dewpond.base.settings import TroughSettings
from dewpond.base.words import words
from dewpond.steps.troughs.rules import TOGETHER, Use, with_a_fixed_trough

LEVEL_DEGREES = 5.0
"""Steepest ground on which a trough stands without a levelled base: common practice, no source."""

STEEPEST_DEGREES = 10.0
"""Steepest ground for a free-standing trough (10 to 12): common practice, no source."""

LONG_REFILL_MIN = 60.0
"""A refill after tipping longer than this is worth saying: common practice, no source."""

_STEP_L = 10.0  # a suggested volume is given in round figures


@dataclass(frozen=True)
class Stand:
    """One outlet with its trough, as a row of the table of outlets."""

    trough: str
    design_flow_l_min: float
    trough_volume_l: float
    troughs: int
    drinking_spaces: int
    head_per_trough: float
    refill_min: float
    seat: Seat
    notes: tuple[str, ...]


def stand_at(
    uses: Sequence[Use],
    slope_degrees: float,
    settings: TroughSettings,
    offered: list[tuple[float, float]],
    usual_trough: str,
) -> Stand:
    """Return what stands at an outlet that serves these uses.

    A fixed trough stands there for all as soon as one mob needs one. Flow and spaces are those
    of the most demanding use; volume is what is set, else suggested for all of them.
    """
    if not uses:
        seat = choose_seat(0.0, offered, settings.valve_head_limit_m)
        note = words("troughs.outlets.serves_no_ground")
        return Stand(usual_trough, 0.0, 0.0, 1, 0, 0.0, 0.0, seat, (note,))
    trough = "fixed" if any(use.drinkers.trough == "fixed" for use in uses) else "mobile"
    flow_l_min = max(use.flow_l_min for use in uses)
    troughs = max(use.troughs for use in uses)
    volume_l = _volume_l(uses, trough, troughs, settings)
    seat = choose_seat(flow_l_min, offered, settings.valve_head_limit_m)
    return Stand(
        trough,
        flow_l_min,
        volume_l,
        troughs,
        int(max(use.event.at_once for use in uses)),
        max(use.drinkers.head for use in uses) / troughs,
        volume_l / flow_l_min,
        seat,
        tuple(_notes(uses, trough, troughs, volume_l, flow_l_min, slope_degrees, settings, seat)),
    )


def _volume_l(uses: Sequence[Use], trough: str, troughs: int, settings: TroughSettings) -> float:
    one_l = settings.mobile_volume_l if trough == "mobile" else settings.volume_l
    if one_l is not None:
        return troughs * one_l
    return _round_up_l(max(use.ample_volume_l for use in uses))


def _notes(
    uses: Sequence[Use],
    trough: str,
    troughs: int,
    volume_l: float,
    flow_l_min: float,
    slope_degrees: float,
    settings: TroughSettings,
    seat: Seat,
) -> list[str]:
    notes = _together(uses, settings)
    if trough == "fixed" and settings.volume_l is None:
        notes.append(_suggested(uses, volume_l))
    else:
        notes += list(
            dict.fromkeys(
                _short(use, volume_l, flow_l_min) for use in uses if volume_l < use.least_volume_l
            )
        )
    if trough == "fixed" and any(use.drinkers.trough == "mobile" for use in uses):
        notes.append(words("troughs.outlets.mobile_mobs_drink_here"))
    if troughs > 1:
        widest = max(uses, key=lambda use: use.troughs)
        notes.append(
            words(
                "troughs.outlets.troughs_linked",
                troughs=troughs,
                at_once=widest.event.at_once,
                mob=widest.drinkers.mob,
                edge_m_head=widest.drinkers.traits.edge_m_head,
            )
        )
    notes += _rim(uses)
    notes += _ground(slope_degrees)
    if volume_l / flow_l_min > LONG_REFILL_MIN:
        notes.append(words("troughs.outlets.time_to_refill", minutes=volume_l / flow_l_min))
    if seat.head_m > settings.valve_head_limit_m:
        notes.append(
            words(
                "troughs.outlets.widest_valve_short",
                bore_mm=seat.bore_mm,
                head_m=seat.head_m,
                flow_l_min=flow_l_min,
            )
        )
    return notes


def _together(uses: Sequence[Use], settings: TroughSettings) -> list[str]:
    """Say for each mob that comes as one from where, what it needs, and what would need less."""
    groups: dict[tuple[str, str, float], list[Use]] = {}
    for use in uses:
        if use.arrival == TOGETHER:
            key = (use.drinkers.mob, use.rule, round(use.flow_l_min, 6))
            groups.setdefault(key, []).append(use)
    notes = []
    for (mob, rule, _), group in groups.items():
        use = group[0]
        fields = ", ".join(dict.fromkeys(item.drinkers.paddock_name for item in group))
        walk_m = max(item.drinkers.farthest_walk_m for item in group)
        notes.append(
            words(
                "troughs.outlets.come_together_from",
                mob=mob,
                fields=fields,
                walk_m=walk_m,
                flow_l_min=use.flow_l_min,
                rule=rule,
            )
            + rather_fixed(use, settings)
        )
    return notes


def rather_fixed(use: Use, settings: TroughSettings) -> str:
    """Say what a fixed trough would do for a use whose mobile one asks for more flow; else ""."""
    if use.drinkers.trough == "fixed":
        return ""
    fixed = with_a_fixed_trough(use, settings)
    if not fixed.flow_l_min < 0.9 * use.flow_l_min:
        return ""
    volume_l = _round_up_l(fixed.ample_volume_l)
    return words(
        "troughs.outlets.fixed_trough_flow", volume_l=volume_l, flow_l_min=fixed.flow_l_min
    )


def _suggested(uses: Sequence[Use], volume_l: float) -> str:
    """Say why a volume is suggested: for a visit, or by the rule."""
    most = max(uses, key=lambda use: use.ample_volume_l)
    event, who = most.event, most.drinkers.mob
    visit_l = event.least_volume_l(most.flow_l_min)
    if visit_l < most.ample_volume_l:
        by_rule = most.arrival == TOGETHER and most.least_volume_l >= most.ample_volume_l
        reason = (
            words("troughs.outlets.as_rule_asks", who=who)
            if by_rule
            else words("troughs.outlets.usual_for_mob", who=who)
        )
        share_l = most.ample_volume_l / most.drinkers.head
        return words(
            "troughs.outlets.suggested_volume_a_head",
            volume_l=volume_l,
            reason=reason,
            share_l=share_l,
        )
    if most.arrival == TOGETHER:
        reason = words(
            "troughs.outlets.all_in_one_visit", head=event.head, who=who, minutes=event.minutes
        )
    else:
        reason = words("troughs.outlets.drink_at_once", head=event.head, who=who)
    least_l = _round_up_l(most.least_volume_l)
    tail = words("troughs.outlets.least_volume", least_l=least_l) if least_l < volume_l else ""
    return words(
        "troughs.outlets.suggested_volume",
        volume_l=volume_l,
        reason=reason,
        at_once=event.at_once,
        rate_l_min=event.rate_l_min,
        tail=tail,
    )


def _round_up_l(volume_l: float) -> float:
    return max(_STEP_L, _STEP_L * math.ceil(volume_l / _STEP_L - 1e-9))


def _short(use: Use, volume_l: float, flow_l_min: float) -> str:
    """Say that a trough runs dry while stock drink, how long they wait, and what would do."""
    event, who = use.event, use.drinkers.mob
    what = (
        words(
            "troughs.outlets.time_to_drink",
            head=event.head,
            who=who,
            minutes_with=event.minutes_with(volume_l, flow_l_min),
        )
        if use.arrival == TOGETHER
        else words("troughs.outlets.those_who_wait", at_once=event.at_once, who=who)
    )
    return words(
        "troughs.outlets.volume_runs_dry",
        volume_l=volume_l,
        what=what,
        round_up_l=_round_up_l(use.ample_volume_l),
    )


def _rim(uses: Sequence[Use]) -> list[str]:
    lowest = min(uses, key=lambda use: use.drinkers.traits.highest_rim_m)
    note = words(
        "troughs.outlets.rim_height",
        highest_rim_m=lowest.drinkers.traits.highest_rim_m,
        mob=lowest.drinkers.mob,
    )
    species = {use.drinkers.species for use in uses}
    if len(species) > 1 and "cattle" in species:
        note += words("troughs.outlets.cattle_foul_low_trough")
    return [note]


def _ground(slope_degrees: float) -> list[str]:
    if not slope_degrees > LEVEL_DEGREES:
        return []
    if slope_degrees > STEEPEST_DEGREES:
        return [words("troughs.outlets.cut_level_stance", slope_degrees=slope_degrees)]
    return [words("troughs.outlets.set_along_contour", slope_degrees=slope_degrees)]
