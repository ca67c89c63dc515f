"""What no pipe can meet: the requirement, where, by how much, and what would mend it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from dewpond.base.friction import velocity_m_s
from dewpond.base.model import Holding, Intake, Network, Shortfall
from dewpond.base.pipes import surge_m, temperature_factor
from dewpond.base.pipesizing import Shortfall as Missed
from dewpond.base.settings import PipeSettings
from dewpond.base.units import bar_from_head_m
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
) -> tuple[Shortfall, ...]:
    """Return the requirements that fail under the best pipe offered, with remedies in numbers."""
    found = _at_the_source(scheme, intake)
    if choice.sizing.option is not None:
        return tuple(found)
    case = make_case(holding, network, scheme, choice, offer, intake, pipe)
    missed = _worst_of_each(choice)
    found += [
        *outlets_short([item for item in missed if item.requirement == "outlet"], case),
        *rises_short([item for item in missed if item.requirement == "summit"], case),
        *_classes_short([item for item in missed if item.requirement == "pressure class"], case),
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
            remedy = f"Raise the water at the source by at least {needed - head:.1f} m."
            name = scheme.outlets[outlet]
            found.append(Shortfall("Head for the float valve", name, head, needed, "m", remedy))
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


def _classes_short(missed: list[Missed], case: Case) -> list[Shortfall]:
    """Return the pipe that is pressed hardest beyond its class, the others named with it."""
    if not missed:
        return []
    found = [_pressure_class(item, case) for item in missed]
    worst = max(found, key=lambda item: item.figure - item.limit)
    others = [item.where.split(",")[0] for item in found if item is not worst]
    also = f"; less so {', '.join(others)}" if others else ""
    return [replace(worst, where=worst.where + also)]


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
        f"Still water stands {static:.1f} m over the ground there"
        + (f", and a valve shut fast adds {float(surge[best]):.1f} m" if case.pipe.surge else "")
        + f". It takes pipe of at least PN {rounded_up(needed_bar)} at a wall of "
        f"{case.offer.wall_temperature_c:.0f} °C"
    )
    if factor < 1.0 and limit / factor >= pressure:
        remedy += (
            f"; buried, where its wall keeps to 20 °C, {case.offer.sizes[best].name} would do"
        )
    if case.choice.no_place:
        remedy += (
            f". No place along the way would do for a {case.pipe.break_with}: what lies beyond "
            "needs the height. Or lay the pipe round the hollow."
        )
    else:
        remedy += (
            f". With a {case.pipe.break_with} on the way too, no pipe on offer would do: what "
            "lies beyond needs most of the height. Or lay the pipe round the hollow."
        )
    return Shortfall(
        "Pressure within the class of the pipe",
        f"{scheme.pipes[pipe]}, {float(scheme.distance_m[pipe][lowest]):.0f} m along it",
        pressure,
        limit,
        "m",
        remedy,
    )


def _velocity(item: Missed, case: Case) -> Shortfall:
    pipe = case.scheme.pipes[int(case.choice.stretches.pipe[item.pipe])]
    share = item.limit / item.figure
    remedy = (
        f"Put pipe wider than {case.widest.name} in the table, or let no more than "
        f"{100 * share:.0f} % of the flow be drawn at once."
    )
    return Shortfall("Velocity in the pipe", pipe, item.figure, item.limit, "m/s", remedy)


def _size_order(item: Missed, case: Case) -> Shortfall:
    pipe = case.scheme.pipes[int(case.choice.stretches.pipe[item.pipe])]
    remedy = (
        f"It needs {item.limit:g} mm and the pipe before it can have {item.figure:g} mm at most: "
        "allow it to be wider with may_grow, or offer stronger pipe in wide sizes."
    )
    name = "No pipe wider than the one before it"
    return Shortfall(name, pipe, item.figure, item.limit, "mm", remedy)


def _together(case: Case) -> Shortfall:
    most = case.choice.sizing.raise_m
    remedy = (
        "Each requirement could be met by itself, not all of them together: "
        f"raise the water at the source by {rounded_up(most)} m, or allow pipe to be wider than "
        "the one before it with may_grow."
    )
    return Shortfall("Size, class and head together", "the whole scheme", 0.0, most, "m", remedy)
