"""How fast water must arrive for one mob at one outlet, and what its trough must hold."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from dewpond.base.settings import TroughSettings
from dewpond.base.units import MINUTES_PER_HOUR
from dewpond.base.watering_rules import (
    HERD_MINUTES,
    PEAK_HOURS,
    QUARTER_OF_THE_DAY,
    DrinkingEvent,
    hour_refill_volume_l,
    inflow_l_min,
    instant_refill_l_min,
    spaces_for,
)
from dewpond.base.words import words
from dewpond.steps.troughs.stock import Drinkers

ONES_AND_TWOS, TOGETHER = "ones and twos", "together"

_USDA = "USDA, Livestock Watering Data Sheet"
_SMALL_RUMINANTS = ("sheep", "goats")


@dataclass(frozen=True)
class Use:
    """What one mob needs at one outlet.

    Attributes
    ----------
    drinkers : Drinkers
    arrival : str
        `ONES_AND_TWOS` or `TOGETHER`.
    rule : str
        The rule that sets the flow, with its source.
    flow_l_min : float
        What must arrive.
    least_volume_l : float
        What the rule wants the trough to hold, and never less than what those at the trough
        take in one drink beyond the inflow.
    ample_volume_l : float
        With which the whole visit passes without the trough running dry.
    event : DrinkingEvent
        The visit: all of a mob that comes together, else those that drink at one time.
    troughs : int
        Linked, to give the drinking spaces.
    volume_l : float or None
        Of all linked troughs; None where one is to be suggested.
    """

    drinkers: Drinkers
    arrival: str
    rule: str
    flow_l_min: float
    least_volume_l: float
    ample_volume_l: float
    event: DrinkingEvent
    troughs: int
    volume_l: float | None


@dataclass(frozen=True)
class _Asked:
    """What a rule asks for: flow [L/min], volume [L], and its name with the source."""

    flow_l_min: float
    volume_l: float
    text: str


def judge_use(drinkers: Drinkers, settings: TroughSettings) -> Use:
    """Return the flow, the trough and the rule for one mob at one outlet.

    The hours of the day hold for stock that drink in ones and twos: within the set walk, or in
    a paddock up to the set size. A mob that comes together is given what the chosen rule asks,
    and never less than the hours of the day.
    """
    arrival = _arrival(drinkers, settings)
    event = _event(drinkers, arrival, settings)
    troughs = _linked(event.at_once, drinkers, settings)
    volume_l = _volume_l(drinkers, troughs, settings)
    asked = usual = _hours_of_the_day(drinkers)
    if arrival == TOGETHER and settings.rule != "hours of the day":
        asked = _by_rule(drinkers, event, volume_l, usual, settings)
        if asked.flow_l_min < usual.flow_l_min:
            less = words(
                "troughs.rules.more_than_rule_asks",
                text=usual.text,
                rule=settings.rule,
                flow_l_min=asked.flow_l_min,
            )
            asked = _Asked(usual.flow_l_min, asked.volume_l, less)
    least_l = max(asked.volume_l, _one_drink_each_l(event, asked.flow_l_min))
    usual_l = _usual_volume_l(drinkers) if drinkers.trough == "fixed" else 0.0
    ample_l = max(least_l, usual_l, event.least_volume_l(asked.flow_l_min))
    return Use(
        drinkers, arrival, asked.text, asked.flow_l_min, least_l, ample_l, event, troughs, volume_l
    )  # fmt: skip


def with_a_fixed_trough(use: Use, settings: TroughSettings) -> Use:
    """Return the same use from a fixed trough of the suggested volume."""
    drinkers = replace(use.drinkers, trough="fixed", hours=use.drinkers.fixed_hours)
    return judge_use(drinkers, settings.model_copy(update={"volume_l": None}))


def _arrival(drinkers: Drinkers, settings: TroughSettings) -> str:
    near = drinkers.farthest_walk_m <= settings.singly_within_m
    small = drinkers.area_ha <= settings.singly_within_ha
    return ONES_AND_TWOS if near or small else TOGETHER


def _event(drinkers: Drinkers, arrival: str, settings: TroughSettings) -> DrinkingEvent:
    drink_l = drinkers.daily_l / (drinkers.head * settings.drinks_a_day)
    if arrival == TOGETHER:
        at_once = float(spaces_for(drinkers.head, settings.share_at_once))
        head = drinkers.head
    else:
        head = at_once = float(spaces_for(drinkers.head, settings.singly_share, least=2))
    return DrinkingEvent(head, at_once, drink_l, drinkers.traits.drinking_rate_l_min)


def _linked(at_once: float, drinkers: Drinkers, settings: TroughSettings) -> int:
    """Return how many troughs give the spaces; each trough has room for one at least."""
    spaces = max(1, math.floor(settings.edge_m / drinkers.traits.edge_m_head + 1e-9))
    return math.ceil(at_once / spaces)


def _volume_l(drinkers: Drinkers, troughs: int, settings: TroughSettings) -> float | None:
    one_l = settings.mobile_volume_l if drinkers.trough == "mobile" else settings.volume_l
    return None if one_l is None else troughs * one_l


def _one_drink_each_l(event: DrinkingEvent, flow_l_min: float) -> float:
    minutes = event.drink_l / event.rate_l_min
    return max(0.0, event.draw_l_min - flow_l_min) * minutes


def _usual_volume_l(drinkers: Drinkers) -> float:
    """Return what a fixed trough holds at least where its volume is suggested [L].

    So many litres a head as the table of troughs has them, and at most a quarter of the day's
    water: the USDA data sheet pairs 2 US gal a head with a refill in 1 h, and the quarter with
    4 h. For sheep it has the whole day's water; that the quarter does for them as well is
    common practice, no source.
    """
    usual_l = drinkers.traits.trough_l_head * drinkers.head
    return min(usual_l, QUARTER_OF_THE_DAY * drinkers.daily_l)


def _hours_of_the_day(drinkers: Drinkers) -> _Asked:
    flow_l_min = float(inflow_l_min(drinkers.daily_l, 1.0, drinkers.hours))
    text = words("troughs.rules.day_within_hours", hours=drinkers.hours)
    return _Asked(flow_l_min, 0.0, text)


def _by_rule(
    drinkers: Drinkers,
    event: DrinkingEvent,
    volume_l: float | None,
    usual: _Asked,
    settings: TroughSettings,
) -> _Asked:
    if settings.rule == "refill in an hour":
        return _refill_in_an_hour(drinkers, event, volume_l, usual)
    if settings.rule == "herd in twenty minutes":
        return _herd_in_twenty_minutes(drinkers, event, volume_l, usual)
    return _Asked(
        float(inflow_l_min(drinkers.daily_l, 1.0, PEAK_HOURS)),
        QUARTER_OF_THE_DAY * drinkers.daily_l,
        words("troughs.rules.day_within_4_hours"),
    )


def _herd_in_twenty_minutes(
    drinkers: Drinkers, event: DrinkingEvent, volume_l: float | None, usual: _Asked
) -> _Asked:
    """Return the flow that waters the whole herd in 20 min, with what a fixed trough holds.

    A fixed trough whose volume is to be suggested holds what lets the usual flow do.
    """
    text = words("troughs.rules.herd_in_20_minutes")
    wanted_l = event.head * event.drink_l
    if drinkers.trough == "mobile":
        return _Asked(wanted_l / HERD_MINUTES, 0.0, text)
    if volume_l is None:
        volume_l = max(0.0, wanted_l - HERD_MINUTES * usual.flow_l_min)
    flow_l_min = max(usual.flow_l_min, (wanted_l - volume_l) / HERD_MINUTES)
    return _Asked(
        flow_l_min, volume_l, words("troughs.rules.part_from_trough", text=text, volume_l=volume_l)
    )


def _refill_in_an_hour(
    drinkers: Drinkers, event: DrinkingEvent, volume_l: float | None, usual: _Asked
) -> _Asked:
    """Return the pair of refill and volume of the USDA data sheet that the trough can meet.

    A trough that holds 2 US gal a head is refilled in an hour; for sheep it holds the day's
    water and the hours of the day will do. A smaller one must be refilled as fast as it is
    drunk at 2 US gal/min a space, unless what it holds carries the visit at less.
    """
    if drinkers.species in _SMALL_RUMINANTS:
        held_l, refill_l_min = drinkers.daily_l, usual.flow_l_min
        text = words("troughs.rules.trough_holds_all", text=usual.text, usda=_USDA)
    else:
        held_l = min(float(hour_refill_volume_l(drinkers.head)), drinkers.daily_l)
        refill_l_min = held_l / MINUTES_PER_HOUR
        text = words("troughs.rules.refill_a_head_an_hour", usda=_USDA)
    if volume_l is None or volume_l >= held_l:
        return _Asked(refill_l_min, held_l, text)
    at_each_space = min(float(instant_refill_l_min(event.at_once)), event.draw_l_min)
    carried = event.least_inflow_l_min(volume_l)
    if carried < at_each_space:
        text = words(
            "troughs.rules.one_visit",
            minutes=event.minutes,
            volume_l=volume_l,
            held_l=held_l,
            usda=_USDA,
        )
        return _Asked(max(carried, refill_l_min), volume_l, text)
    text = words(
        "troughs.rules.refilled_as_drunk",
        at_each_space=at_each_space / event.at_once,
        at_once=event.at_once,
        volume_l=volume_l,
        held_l=held_l,
        usda=_USDA,
    )
    return _Asked(max(at_each_space, refill_l_min), volume_l, text)
