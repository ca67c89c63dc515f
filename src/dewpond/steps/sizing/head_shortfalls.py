"""Head that no pipe can give, at outlets and over rises, in the words of an adviser."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from dewpond.base.model import Holding, Intake, Network, Shortfall
from dewpond.base.pipes import PipeSize
from dewpond.base.pipesizing import Shortfall as Missed
from dewpond.base.settings import PipeSettings
from dewpond.base.units import l_min_from_m3_s
from dewpond.base.words import words
from dewpond.steps.sizing.choose import Choice, fits_without_breaks
from dewpond.steps.sizing.offer import Offer
from dewpond.steps.sizing.scheme import BoolArray, Scheme

_HALVINGS = 7  # share of the flow that would do, to better than a hundredth
_LEAST_SHARE = 0.01
_TELLING_DROP_M = 0.5  # fall of the source with flow that is worth a word


@dataclass(frozen=True, eq=False)
class Case:
    """Everything a sentence may need.

    Attributes
    ----------
    scheme, choice, offer, pipe, intake
    kind : str
        Of the source: "mains", "header_tank" and so on.
    """

    scheme: Scheme
    choice: Choice
    offer: Offer
    pipe: PipeSettings
    intake: Intake
    kind: str

    @property
    def widest(self) -> PipeSize:
        """Widest pipe on offer."""
        return self.offer.sizes[int(self.offer.options.bore_m.argmax())]


def make_case(
    holding: Holding,
    network: Network,
    scheme: Scheme,
    choice: Choice,
    offer: Offer,
    intake: Intake,
    pipe: PipeSettings,
) -> Case:
    """Gather what the sentences need."""
    kind = holding.sources[network.source].settings.kind
    return Case(scheme, choice, offer, pipe, intake, str(kind))


def lack_m(item: Missed) -> float:
    """Return by how much a requirement is missed, in its own unit."""
    return abs(item.limit - item.figure)


def rounded_up(value: float) -> str:
    """Return a figure to one decimal, rounded up so that it is enough."""
    return f"{np.ceil(value * 10.0 - 1e-9) / 10.0:.1f}"


def outlets_short(items: Sequence[Missed], case: Case) -> list[Shortfall]:
    """Return one shortfall for all outlets whose float valves lack head, the worst in figures."""
    if not items:
        return []
    ranked = sorted(items, key=lack_m, reverse=True)
    worst = _outlet(ranked[0], case)
    ground = float(case.scheme.outlet_ground_m[worst])
    return [
        Shortfall(
            words("sizing.head_shortfalls.requirement_valve_head"),
            ", ".join(case.scheme.outlets[_outlet(item, case)] for item in ranked),
            ranked[0].figure - ground,
            float(case.scheme.valve_head_m[worst]),
            "m",
            " ".join([*_why(ranked, case), _raise(ranked[0], case), _less_flow(case)]),
        )
    ]


def rises_short(items: Sequence[Missed], case: Case) -> list[Shortfall]:
    """Return one shortfall for the rises that water does not pass, the worst in figures.

    Rises that the remedy for the outlets mends as well are not spoken of again.
    """
    missed = case.choice.sizing.shortfalls
    told = max((lack_m(item) for item in missed if item.requirement == "outlet"), default=0.0)
    own = [item for item in items if lack_m(item) > told + 1e-9]
    if not own:
        return []
    stretches = case.choice.stretches
    ranked = sorted(own, key=lack_m, reverse=True)
    worst = ranked[0]
    pipe = int(stretches.pipe[worst.pipe])
    point = int(stretches.check_point[worst.check])
    ground = float(case.scheme.ground_m[pipe][point])
    round_it = words("sizing.head_shortfalls.lay_round_rise", ground=ground - lack_m(worst))
    if point == len(case.scheme.ground_m[pipe]) - 1 and pipe in case.scheme.outlet_pipe:
        round_it = ""  # the outlet itself stands there
    places = [_place(item, case) for item in ranked]
    return [
        Shortfall(
            words("sizing.head_shortfalls.requirement_water_over_ground"),
            "; ".join(places),
            worst.figure - ground,
            worst.limit - ground,
            "m",
            words(
                "sizing.head_shortfalls.rise_in_the_way",
                ground=ground,
                places=places[0],
                figure=worst.figure,
                raise_=_raise(worst, case),
                round_it=round_it,
                less_flow=_less_flow(case),
            ),
        )
    ]


def _outlet(item: Missed, case: Case) -> int:
    return int(case.choice.stretches.check_outlet[item.check])


def _place(item: Missed, case: Case) -> str:
    stretches = case.choice.stretches
    pipe = int(stretches.pipe[item.pipe])
    along = float(case.scheme.distance_m[pipe][int(stretches.check_point[item.check])])
    return words(
        "sizing.head_shortfalls.place_along_pipe", pipes=case.scheme.pipes[pipe], along=along
    )


def _why(items: Sequence[Missed], case: Case) -> list[str]:
    """Return a sentence for each reason: too high, too little still head, much lost to flow."""
    scheme = case.scheme
    above: list[tuple[str, float]] = []
    low: list[tuple[str, float]] = []
    lost: list[tuple[str, float]] = []
    for item in sorted(items, key=lambda item: _outlet(item, case)):
        outlet = _outlet(item, case)
        name, ground = scheme.outlets[outlet], float(scheme.outlet_ground_m[outlet])
        still = scheme.still_level_m - ground
        if still < 0:
            above.append((name, -still))
        elif still < scheme.valve_head_m[outlet]:
            low.append((name, still))
        else:
            lost.append((name, scheme.still_level_m - item.figure))
    found = []
    if above:
        found.append(
            words(
                "sizing.head_shortfalls.above_still_water",
                listed=_listed(above),
                which="stands" if len(above) == 1 else "stand",
                up_to=_up_to(above),
            )
        )
    if low:
        least = min(still for _, still in low)
        found.append(
            words(
                "sizing.head_shortfalls.still_head_too_small",
                listed=_listed(low),
                least=least,
            )
        )
    if lost:
        found.append(
            words(
                "sizing.head_shortfalls.flow_takes_head",
                listed=_listed(lost),
                up_to=_up_to(lost),
                at_source=_at_source(items, case),
            )
        )
    return [sentence[0].upper() + sentence[1:] for sentence in found]


def _at_source(items: Sequence[Missed], case: Case) -> str:
    worst = max(items, key=lambda item: case.scheme.still_level_m - item.figure)
    drop = case.scheme.still_level_m - float(case.scheme.source_level_m[worst.case])
    if drop < _TELLING_DROP_M:
        return ""
    return words("sizing.head_shortfalls.drop_at_source", drop=drop)


def _listed(named: Sequence[tuple[str, float]]) -> str:
    names = [name for name, _ in named]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _up_to(named: Sequence[tuple[str, float]]) -> str:
    most = max(figure for _, figure in named)
    return words("sizing.head_shortfalls.shortfall_up_to", most_m=most, several=len(named) > 1)


def _raise(item: Missed, case: Case) -> str:
    """Return by how much the source must rise, to what level, and how that may be done."""
    need, most = lack_m(item), case.choice.sizing.raise_m
    level = float(case.scheme.source_level_m[item.case]) + need
    text = words(
        "sizing.head_shortfalls.raise_source",
        raise_m=rounded_up(need),
        to_level_m=rounded_up(level),
        by=_by(level, case),
    )
    if most > need + 0.05:
        text += words("sizing.head_shortfalls.raise_for_all", raise_m=rounded_up(most))
    spare = case.choice.sizing.class_headroom_m
    if np.isfinite(spare) and 0 <= spare < need:
        text += words(
            "sizing.head_shortfalls.spare_of_class",
            spare=spare,
            break_with=case.pipe.break_with,
        )
    return text + "."


def _by(level_m: float, case: Case) -> str:
    if case.intake.pumped:
        return words("sizing.head_shortfalls.by_stronger_pump")
    if case.kind == "mains":
        if level_m < case.scheme.still_level_m:
            return words("sizing.head_shortfalls.by_header_tank")
        return words("sizing.head_shortfalls.by_booster")
    return words("sizing.head_shortfalls.by_higher_tank")


def _less_flow(case: Case) -> str:
    """Return whether less flow would do, for all outlets or for those that still water reaches."""
    scheme = case.scheme
    reached = _reached(scheme, case.pipe.summit_margin_m)
    if not reached.any():
        return words("sizing.head_shortfalls.less_flow_not_enough")
    kept = scheme if reached.all() else scheme.kept_to(reached)
    if not kept.asking.any():
        return words("sizing.head_shortfalls.less_flow_not_enough")
    share = _share_that_fits(kept, case)
    if share < _LEAST_SHARE:
        return words("sizing.head_shortfalls.less_flow_not_enough")
    drawn = l_min_from_m3_s(kept.flow_m3_s[:, kept.parent < 0].sum(axis=1)[kept.asking])
    most = float(drawn.max())
    names = [(name, 0.0) for name, some in zip(scheme.outlets, reached, strict=True) if some]
    if share == 1.0:
        return words("sizing.head_shortfalls.mobs_kept_suffice", listed=_listed(names), most=most)
    lead = (
        "Or draw"
        if reached.all()
        else words("sizing.head_shortfalls.or_keep_mobs", listed=_listed(names))
    )
    return words("sizing.head_shortfalls.draw_less", lead=lead, share=share * most, most=most)


def _reached(scheme: Scheme, margin_m: float) -> BoolArray:
    """Return which outlets (outlets,) still water passes to with the margin over the ground."""
    clear = np.zeros(len(scheme.pipes), dtype=bool)
    for pipe, ground in enumerate(scheme.ground_m):
        above = int(scheme.parent[pipe])
        if above >= 0:
            clear[pipe] = clear[above] and ground.max() + margin_m <= scheme.still_level_m
        else:
            clear[pipe] = ground[-1] + margin_m <= scheme.still_level_m >= ground.max()
    at_source = scheme.outlet_pipe < 0
    return np.asarray(np.where(at_source, True, clear[scheme.outlet_pipe]), dtype=bool)


def _share_that_fits(scheme: Scheme, case: Case) -> float:
    """Return the greatest share of every flow for which some pipe fits, 0 where none does."""
    quick = replace(case.offer, rules=replace(case.offer.rules, gap=0.99))
    if fits_without_breaks(scheme, quick, case.pipe):
        return 1.0
    low, high = 0.0, 1.0
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        if fits_without_breaks(scheme.scaled(middle, case.intake), quick, case.pipe):
            low = middle
        else:
            high = middle
    return low
