"""What no pipe can meet: the requirement, where, by how much, and what would mend it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from dewpond.base.friction import velocity_m_s
from dewpond.base.model import Holding, Intake, Network, Shortfall
from dewpond.base.pipes import PipeSize, surge_m, temperature_factor
from dewpond.base.pipesizing import Shortfall as Missed
from dewpond.base.settings import PipeSettings
from dewpond.base.units import bar_from_head_m, l_min_from_m3_s
from dewpond.steps.sizing.choose import Choice, fits_without_breaks
from dewpond.steps.sizing.offer import Offer
from dewpond.steps.sizing.scheme import Scheme

_HALVINGS = 7  # share of the flow that would do, to better than a hundredth
_HEAD_KINDS = ("outlet", "summit", "break tank", "reducing valve")


@dataclass(frozen=True, eq=False)
class _Case:
    """Everything a sentence may need."""

    scheme: Scheme
    choice: Choice
    offer: Offer
    pipe: PipeSettings
    raising: str  # how this source could be raised
    share: float  # of the flows for which head would do, 0 where none

    @property
    def widest(self) -> PipeSize:
        return self.offer.sizes[int(self.offer.options.bore_m.argmax())]


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
    found = [*_at_the_source(scheme, intake)]
    missed = _worst_of_each(choice)
    if choice.sizing.option is not None:
        return tuple(found)
    if not missed:
        missed = [Missed("together", 0, -1, -1, 0.0, choice.sizing.raise_m, "m")]
    heads_fail = any(item.requirement in _HEAD_KINDS for item in missed)
    share = _share_that_fits(scheme, offer, intake, pipe) if heads_fail else 0.0
    case = _Case(scheme, choice, offer, pipe, _raising(holding, network, intake), share)
    say = {
        "outlet": _outlet,
        "summit": _summit,
        "pressure class": _pressure_class,
        "velocity": _velocity,
        "size order": _size_order,
    }
    return (*found, *(say.get(item.requirement, _together)(item, case) for item in missed))


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
        if key not in worst or _lack(item) > _lack(worst[key]):
            worst[key] = item
    return list(worst.values())


def _lack(item: Missed) -> float:
    return abs(item.limit - item.figure)


def _share_that_fits(scheme: Scheme, offer: Offer, intake: Intake, pipe: PipeSettings) -> float:
    """Return the greatest share of every flow for which some pipe fits, 0 where none does."""
    quick = replace(offer, rules=replace(offer.rules, gap=0.99))
    low, high = 0.0, 1.0
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        if fits_without_breaks(scheme.scaled(middle, intake), quick, pipe):
            low = middle
        else:
            high = middle
    return low


def _raising(holding: Holding, network: Network, intake: Intake) -> str:
    kind = holding.sources[network.source].settings.kind
    if intake.pumped:
        return "by a pump of more head"
    if kind == "mains":
        return (
            "by a booster, which may need the water undertaker's consent, or by a header tank "
            "that the main can fill"
        )
    return "by a tank that stands higher, or a booster"


def _outlet(item: Missed, case: _Case) -> Shortfall:
    outlet = int(case.choice.stretches.check_outlet[item.check])
    ground = float(case.scheme.outlet_ground_m[outlet])
    head, needed = item.figure - ground, float(case.scheme.valve_head_m[outlet])
    still = case.scheme.still_level_m - ground
    if still < 0:
        lead = f"It stands {-still:.1f} m above the still water of the source"
    elif still < needed:
        lead = f"Still water gives only {still:.1f} m there, before any flows"
    else:
        lead = (
            f"Still water gives {still:.1f} m there; flow takes {still - head:.1f} m of it even "
            "in the widest pipe that may be used"
        )
    remedy = f"{lead}. {_raise_sentence(item, case)}{_less_flow(case)}"
    name = case.scheme.outlets[outlet]
    return Shortfall("Head for the float valve", name, head, needed, "m", remedy)


def _summit(item: Missed, case: _Case) -> Shortfall:
    pipe = int(case.choice.stretches.pipe[item.pipe])
    point = int(case.choice.stretches.check_point[item.check])
    ground = float(case.scheme.ground_m[pipe][point])
    at_m = float(case.scheme.distance_m[pipe][point])
    head, needed = item.figure - ground, item.limit - ground
    at_outlet = point == len(case.scheme.ground_m[pipe]) - 1 and pipe in case.scheme.outlet_pipe
    round_it = f" Or lay the pipe round the rise, below {ground - _lack(item):.1f} m."
    return Shortfall(
        "Water above the ground along the pipe",
        f"{case.scheme.pipes[pipe]}, {at_m:.0f} m along it",
        head,
        needed,
        "m",
        f"The ground there rises to {ground:.1f} m, the water under flow to {item.figure:.1f} m. "
        f"{_raise_sentence(item, case)}{'' if at_outlet else round_it}{_less_flow(case)}",
    )


def _raise_sentence(item: Missed, case: _Case) -> str:
    need, most = _lack(item), case.choice.sizing.raise_m
    text = f"Raise the water at the source by at least {_up(need)} m, {case.raising}"
    if most > need + 0.05:
        text += f" ({_up(most)} m for the whole scheme)"
    spare = case.choice.sizing.class_headroom_m
    if np.isfinite(spare) and 0 <= spare < most:
        text += (
            f"; more than {spare:.1f} m higher, the pipe in the deepest hollow needs a stronger "
            "class or a break tank"
        )
    return text + "."


def _less_flow(case: _Case) -> str:
    if case.share < 0.01:
        return " Less flow alone would not do."
    drawn = case.scheme.flow_m3_s[:, case.scheme.parent < 0].sum(axis=1)[case.scheme.asking]
    most = float(l_min_from_m3_s(drawn).max(initial=0.0))
    return (
        f" Or draw no more than {100 * case.share:.0f} % of the flow at once, "
        f"{case.share * most:.1f} in place of {most:.1f} L/min from the source: fewer head, or "
        "fixed troughs that hold enough for the rush."
    )


def _pressure_class(item: Missed, case: _Case) -> Shortfall:
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
        + f". It takes pipe of at least PN {_up(needed_bar)} at a wall of "
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


def _velocity(item: Missed, case: _Case) -> Shortfall:
    pipe = case.scheme.pipes[int(case.choice.stretches.pipe[item.pipe])]
    share = item.limit / item.figure
    remedy = (
        f"Put pipe wider than {case.widest.name} in the table, or let no more than "
        f"{100 * share:.0f} % of the flow be drawn at once."
    )
    return Shortfall("Velocity in the pipe", pipe, item.figure, item.limit, "m/s", remedy)


def _size_order(item: Missed, case: _Case) -> Shortfall:
    pipe = case.scheme.pipes[int(case.choice.stretches.pipe[item.pipe])]
    remedy = (
        f"It needs {item.limit:g} mm and the pipe before it can have {item.figure:g} mm at most: "
        "allow it to be wider with may_grow, or offer stronger pipe in wide sizes."
    )
    name = "No pipe wider than the one before it"
    return Shortfall(name, pipe, item.figure, item.limit, "mm", remedy)


def _together(item: Missed, case: _Case) -> Shortfall:
    most = case.choice.sizing.raise_m
    remedy = (
        "Each requirement could be met by itself, not all of them together: "
        f"raise the water at the source by {_up(most)} m, or allow pipe to be wider than the one "
        "before it with may_grow."
    )
    where = case.scheme.pipes[int(case.choice.stretches.pipe[item.pipe])]
    return Shortfall("Size, class and head together", where, 0.0, most, "m", remedy)


def _up(value: float) -> str:
    """Return a figure to one decimal, rounded up so that it is enough."""
    return f"{np.ceil(value * 10.0 - 1e-9) / 10.0:.1f}"
