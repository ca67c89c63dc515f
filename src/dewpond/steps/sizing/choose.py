"""The choice of pipe, with breaks of pressure where no class will do without."""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from dewpond.base.friction import minor_loss_m
from dewpond.base.model import Proof
from dewpond.base.pipes import surge_m
from dewpond.base.pipesizing import PressureBreak, Sizing, find_pressure_breaks, size_pipes
from dewpond.base.settings import PipeSettings
from dewpond.base.surface import FloatArray
from dewpond.steps.sizing.offer import Offer
from dewpond.steps.sizing.scheme import IntArray, Scheme
from dewpond.steps.sizing.stretches import Stretches, cut_at

# Water in a break tank above the ground it stands on [m]; common practice, no source.
_TANK_HEIGHT_M = 1.0
# Shares of the velocity limit that surge is allowed for when places for breaks are sought: the
# lower, the fewer breaks and the wider the pipe that keeps to it.
_SURGE_SPEEDS = (0.1, 0.2, 0.3, 0.4, 0.55, 0.75, 1.0)
# Loss on the way that breaks are set for [m/m]; common practice, no source.
_EASY_SLOPE = 0.02


@dataclass(frozen=True, eq=False)
class Choice:
    """A sizing of the stretches of a scheme, and the breaks between them.

    Attributes
    ----------
    sizing : Sizing
    stretches : Stretches
    breaks : tuple of PressureBreak
    no_place : bool
        Whether breaks were sought and some could stand nowhere.
    stuck : tuple of int
        Pipes on which they could not, where the fewest could not.
    """

    sizing: Sizing
    stretches: Stretches
    breaks: tuple[PressureBreak, ...]
    no_place: bool = False
    stuck: tuple[int, ...] = ()


def choose(scheme: Scheme, offer: Offer, pipe: PipeSettings) -> Choice:
    """Return the least-cost pipe; where a class is what fails, with breaks of pressure.

    Of the places tried for breaks, the fewest that some pipe fits are taken, and of those the ones
    with the cheapest pipe. Where none fit, the choice says what fails without breaks.
    """
    plain = _size(scheme, (), offer, pipe)
    if all(item.requirement != "pressure class" for item in plain.sizing.shortfalls):
        return plain
    places = list(dict.fromkeys(_places(scheme, offer, pipe)))
    standing = [some for some in places if some and all(item.kind != "none" for item in some)]
    best: Choice | None = None
    for breaks in sorted(standing, key=len):
        if best is not None and len(breaks) > len(best.breaks):
            break
        choice = _size(scheme, breaks, offer, pipe)
        if choice.sizing.option is None:
            continue
        choice = _one_size_a_pipe(choice, offer)
        if best is None or choice.sizing.proof.value < best.sizing.proof.value:
            best = choice
    return best or replace(plain, no_place=not standing, stuck=() if standing else _stuck(places))


def _stuck(places: Sequence[tuple[PressureBreak, ...]]) -> tuple[int, ...]:
    """Return the pipes with a break that can stand nowhere, of the places with the fewest."""
    pipes = [tuple(item.pipe for item in some if item.kind == "none") for some in places]
    return min((some for some in pipes if some), key=len, default=())


def _size(
    scheme: Scheme, breaks: tuple[PressureBreak, ...], offer: Offer, pipe: PipeSettings
) -> Choice:
    stretches = cut_at(scheme, breaks, offer, pipe)
    return Choice(size_pipes(stretches.tree, offer.options, offer.rules), stretches, breaks)


def _places(
    scheme: Scheme, offer: Offer, pipe: PipeSettings
) -> Iterator[tuple[PressureBreak, ...]]:
    """Offer places for breaks, from few to many and from easy pipe to the widest."""
    tanks = pipe.break_with == "break tank"
    tank_height = _TANK_HEIGHT_M if tanks else np.inf  # none stands that high: valves only
    strength, sdr = offer.options.working_head_m, offer.options.sdr
    # Nothing presses on pipe that is not laid: as if its ground stood above all water.
    ground = [
        points if laid else np.full(len(points), np.inf)
        for points, laid in zip(scheme.ground_m, scheme.laid, strict=True)
    ]
    for share in _SURGE_SPEEDS if pipe.surge else (0.0,):
        limit = float((strength - surge_m(share * pipe.velocity_limit_m_s, sdr)).max())
        limit -= scheme.greatest_rise_m
        for slope in (
            _slopes(scheme, offer, pipe, _EASY_SLOPE),
            _slopes(scheme, offer, pipe, 0.0),
        ):
            needed = _needed_levels(scheme, slope, pipe.summit_margin_m)
            breaks, _levels = find_pressure_breaks(
                scheme.parent,
                ground,
                needed if tanks else [_from_the_point_before(level) for level in needed],
                scheme.still_level_m,
                limit,
                tank_height,
            )
            yield breaks


def _slopes(scheme: Scheme, offer: Offer, pipe: PipeSettings, most: float) -> FloatArray:
    """Return the loss a metre of each pipe at its greatest flow, below `most` where it can be.

    The narrowest such pipe is taken, the widest where none keeps it.
    """
    flow = scheme.flow_m3_s.max(axis=0)[:, None]
    bore = offer.options.bore_m
    slope, _derivative = offer.rules.friction.loss_and_slope_per_metre(flow, bore)
    slope = slope + minor_loss_m(pipe.fittings_loss, flow, bore) / scheme.length_m[:, None]
    chosen = np.where(slope <= most, slope, slope.min(axis=1, keepdims=True))
    return np.asarray(chosen.max(axis=1))


def _needed_levels(scheme: Scheme, slope: FloatArray, margin_m: float) -> tuple[FloatArray, ...]:
    """Return the least level wanted at each point, losses on the way to all beyond it included."""
    wanted = np.full(len(scheme.pipes), -np.inf)  # at the end of each pipe
    for outlet, above in enumerate(scheme.outlet_pipe.tolist()):
        if above >= 0 and scheme.reached[outlet]:
            wanted[above] = max(wanted[above], float(scheme.outlet_level_m[outlet]))
    needed: list[FloatArray] = [np.empty(0)] * len(scheme.pipes)
    reached = scheme.reached_pipes
    for pipe in range(len(scheme.pipes) - 1, -1, -1):
        distance = scheme.distance_m[pipe] * (scheme.length_m[pipe] / scheme.distance_m[pipe][-1])
        # Levels wanted, as if carried back to the start of the pipe along a straight grade.
        over_m = 0.0 if scheme.bare[pipe] else margin_m
        over = np.maximum(scheme.clearance_m[pipe], over_m)
        at_start = scheme.ground_m[pipe] + over + slope[pipe] * distance
        if not reached[pipe]:
            at_start = np.full(len(distance), -np.inf)
        at_start[-1] = max(at_start[-1], wanted[pipe] + slope[pipe] * distance[-1])
        at_start = np.maximum.accumulate(at_start[::-1])[::-1]
        needed[pipe] = at_start - slope[pipe] * distance
        above = int(scheme.parent[pipe])
        if above >= 0:
            wanted[above] = max(wanted[above], float(needed[pipe][0]))
    return tuple(needed)


def _from_the_point_before(level: FloatArray) -> FloatArray:
    """Return levels that a valve, set for what lies beyond it, then keeps at its own place too."""
    return np.maximum(level, np.append(level[:1], level[:-1]))


def _one_size_a_pipe(choice: Choice, offer: Offer) -> Choice:
    """Return a choice in which all parts of a pipe are alike, as they are ordered and laid.

    Pipe by pipe the option is kept that makes the whole cheapest. Until the first pipe is given
    its option every choice with like parts is still open, so the least bound over all its options
    holds for the whole.
    """
    began = time.perf_counter()
    bound, first = choice.sizing.proof.bound, True
    for pipe in np.unique(choice.stretches.pipe):
        here = np.flatnonzero(choice.stretches.pipe == pipe)
        option = choice.sizing.option
        if option is None or len(np.unique(option[here])) == 1:
            continue
        others = [_with_option(choice, offer, here, number) for number in range(len(offer.sizes))]
        fitting = [other for other in others if other.sizing.option is not None]
        if not fitting:
            return choice  # parts must differ; the table shows the last one
        if first:
            bound, first = max(bound, min(other.sizing.proof.bound for other in fitting)), False
        choice = min(fitting, key=lambda other: other.sizing.proof.value)
    spent = choice.sizing.proof.seconds + time.perf_counter() - began
    proof = Proof(choice.sizing.proof.value, bound, spent, choice.sizing.proof.status)
    return replace(choice, sizing=replace(choice.sizing, proof=proof))


def _with_option(choice: Choice, offer: Offer, here: IntArray, option: int) -> Choice:
    tree = choice.stretches.tree
    fixed = np.array(tree.fixed_option)
    fixed[here] = option
    stretches = replace(choice.stretches, tree=replace(tree, fixed_option=fixed))
    return replace(
        choice, stretches=stretches, sizing=size_pipes(stretches.tree, offer.options, offer.rules)
    )


def fits_without_breaks(scheme: Scheme, offer: Offer, pipe: PipeSettings) -> bool:
    """Say whether some choice of pipe holds every requirement without breaks of pressure."""
    return _size(scheme, (), offer, pipe).sizing.option is not None
