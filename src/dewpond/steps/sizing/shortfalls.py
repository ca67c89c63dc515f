"""What no pipe can meet: the requirement, where, by how much, and what would mend it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from dewpond.base.advice import listed
from dewpond.base.friction import velocity_m_s
from dewpond.base.model import Holding, Intake, Network, Shortfall
from dewpond.base.pipes import surge_m, temperature_factor
from dewpond.base.pipesizing import Shortfall as Missed
from dewpond.base.settings import PipeSettings
from dewpond.base.units import bar_from_head_m
from dewpond.base.words import words
from dewpond.steps.sizing.choose import Choice
from dewpond.steps.sizing.head_shortfalls import (
    Case,
    lack_m,
    make_case,
    outlets_short,
    rises_short,
    rounded_up,
)
from dewpond.steps.sizing.offer import Offer
from dewpond.steps.sizing.scheme import Scheme


def explain(
    holding: Holding,
    network: Network,
    scheme: Scheme,
    choice: Choice,
    offer: Offer,
    intake: Intake,
    pipe: PipeSettings,
    left_out: Sequence[str] = (),
) -> tuple[Shortfall, ...]:
    """Return the requirements that fail under the best pipe offered, with remedies in numbers.

    Outlets left out because no class bears the pressure on the way are named with it.
    """
    found = _at_the_source(scheme, intake)
    if choice.sizing.option is not None:
        return tuple(found)
    case = make_case(holding, network, scheme, choice, offer, intake, pipe)
    missed = _worst_of_each(choice)
    found += [
        *outlets_short([item for item in missed if item.requirement == "outlet"], case),
        *rises_short([item for item in missed if item.requirement == "summit"], case),
        *_classes_short(
            [item for item in missed if item.requirement == "pressure class"], case, left_out
        ),
    ]
    others = {"velocity": _velocity, "size order": _size_order}
    found += [
        others[item.requirement](item, case) for item in missed if item.requirement in others
    ]
    return tuple(found or [_together(case)])


def _at_the_source(scheme: Scheme, intake: Intake) -> list[Shortfall]:
    """Return outlets that stand at the source itself, with too little head for their valve."""
    found = []
    level = float(scheme.source_level_m.min())
    for outlet in np.flatnonzero(scheme.outlet_pipe < 0):
        head = level - float(scheme.outlet_ground_m[outlet])
        needed = float(scheme.valve_head_m[outlet])
        if head < needed:
            remedy = words("sizing.shortfalls.raise_source", needed=needed - head)
            name = scheme.outlets[outlet]
            found.append(
                Shortfall(
                    words("sizing.shortfalls.requirement_valve_head"),
                    name,
                    head,
                    needed,
                    "m",
                    remedy,
                )
            )
    return found


def _worst_of_each(choice: Choice) -> list[Missed]:
    """Return what fails, of several points along one pipe the worst only."""
    worst: dict[tuple[str, int, int], Missed] = {}
    for item in choice.sizing.shortfalls:
        outlet = int(choice.stretches.check_outlet[item.check]) if item.check >= 0 else -1
        key = (item.requirement, int(choice.stretches.pipe[item.pipe]), outlet)
        if key not in worst or lack_m(item) > lack_m(worst[key]):
            worst[key] = item
    return list(worst.values())


def _classes_short(missed: list[Missed], case: Case, left_out: Sequence[str]) -> list[Shortfall]:
    """Return the pipe that is pressed hardest beyond its class, the others named with it."""
    if not missed:
        return []
    found = [_pressure_class(item, case) for item in missed]
    worst = max(found, key=lambda item: item.figure - item.limit)
    others = [item.where.split(",")[0] for item in found if item is not worst]
    also = words("sizing.shortfalls.less_so", names=", ".join(others)) if others else ""
    remedy = worst.remedy
    if left_out:
        remedy += words(
            "sizing.shortfalls.left_out", outlets=listed(left_out, most=6), count=len(left_out)
        )
    return [replace(worst, where=worst.where + also, remedy=remedy)]


def _pressure_class(item: Missed, case: Case) -> Shortfall:
    scheme, options = case.scheme, case.offer.options
    stretches = case.choice.stretches
    pipe = int(stretches.pipe[item.pipe])
    static = float(stretches.tree.highest_static_head_m[item.pipe])
    speed = velocity_m_s(stretches.tree.flow_m3_s[:, item.pipe].max(), options.bore_m)
    surge = surge_m(speed, options.sdr) if case.pipe.surge else np.zeros(len(speed))
    spare = options.working_head_m - static - surge
    fixed = stretches.tree.fixed_option
    given = -1 if fixed is None else int(fixed[item.pipe])
    best = given if given >= 0 else int(spare.argmax())
    pressure, limit = static + float(surge[best]), float(options.working_head_m[best])
    lowest = int(scheme.ground_m[pipe].argmin())
    factor = temperature_factor(case.offer.wall_temperature_c)
    needed_bar = bar_from_head_m(pressure) / factor
    remedy = (
        words("sizing.shortfalls.still_water_over_ground", static=static)
        + (
            words("sizing.shortfalls.surge_adds", surge=float(surge[best]))
            if case.pipe.surge
            else ""
        )
        + words(
            "sizing.shortfalls.class_needed",
            class_bar=rounded_up(needed_bar),
            wall_temperature_c=case.offer.wall_temperature_c,
        )
    )
    if factor < 1.0 and limit / factor >= pressure:
        remedy += words("sizing.shortfalls.buried_would_do", name=case.offer.sizes[best].name)
    if case.choice.no_place:
        remedy += words("sizing.shortfalls.no_place_for_break", break_with=case.pipe.break_with)
    else:
        remedy += words("sizing.shortfalls.break_takes_too_much", break_with=case.pipe.break_with)
    return Shortfall(
        words("sizing.shortfalls.requirement_class"),
        words(
            "sizing.shortfalls.place_along_pipe",
            pipes=scheme.pipes[pipe],
            distance_m=float(scheme.distance_m[pipe][lowest]),
        ),
        pressure,
        limit,
        "m",
        remedy,
    )


def _velocity(item: Missed, case: Case) -> Shortfall:
    pipe = case.scheme.pipes[int(case.choice.stretches.pipe[item.pipe])]
    share = item.limit / item.figure
    remedy = words(
        "sizing.shortfalls.wider_pipe_or_less_flow", name=case.widest.name, share=100 * share
    )
    return Shortfall(
        words("sizing.shortfalls.requirement_velocity"),
        pipe,
        item.figure,
        item.limit,
        "m/s",
        remedy,
    )


def _size_order(item: Missed, case: Case) -> Shortfall:
    pipe = case.scheme.pipes[int(case.choice.stretches.pipe[item.pipe])]
    remedy = words("sizing.shortfalls.allow_widening", limit=item.limit, figure=item.figure)
    name = words("sizing.shortfalls.requirement_not_widening")
    return Shortfall(name, pipe, item.figure, item.limit, "mm", remedy)


def _together(case: Case) -> Shortfall:
    most = case.choice.sizing.raise_m
    remedy = words("sizing.shortfalls.together_impossible", rounded_up=rounded_up(most))
    return Shortfall(
        words("sizing.shortfalls.requirement_together"),
        "the whole scheme",
        0.0,
        most,
        "m",
        remedy,
    )
