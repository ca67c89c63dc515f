"""From flows and heads to pipe that can be ordered."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from dewpond.base.model import (
    Flows,
    HeadMargins,
    Heads,
    Holding,
    Intake,
    Network,
    Proof,
    Sizes,
    Watering,
)
from dewpond.base.settings import DesignSettings, PipeSettings
from dewpond.base.units import l_min_from_m3_s
from dewpond.base.words import words
from dewpond.steps.sizing.choose import Choice, choose
from dewpond.steps.sizing.ease import ease, of_the_lost
from dewpond.steps.sizing.offer import Offer, make_offer
from dewpond.steps.sizing.results import (
    break_table,
    long_sections,
    no_pipe,
    outlet_table,
    pipe_table,
)
from dewpond.steps.sizing.scheme import Scheme, make_scheme
from dewpond.steps.sizing.shortfalls import explain


def size_pipe(
    holding: Holding,
    network: Network,
    heads: Heads,
    watering: Watering,
    flows: Flows,
    intake: Intake,
    pipe: PipeSettings,
    design: DesignSettings,
    folder: Path,
    margins: HeadMargins | None = None,
) -> Sizes:
    """Choose size and class of every pipe at least cost, proven least, or say what fails.

    In every case of `flows` each outlet in use has the head its float valve needs, and water
    stands `summit_margin_m` over the ground all along; still water plus the surge of a valve shut
    fast stays within class in every hollow, at the highest level that the source can reach; no
    pipe is faster than the limit; and none is wider than the one before it, unless that may be.
    Where no class will do, break tanks or reducing valves are placed, and both sides sized anew.
    Where no pipe brings water to some outlets, they are told as shortfalls and the pipe is sized
    for the others; pipe that leads only to outlets beyond a hollow that no class bears has none.

    Parameters
    ----------
    holding : Holding
    network : Network
        A tree.
    heads : Heads
        Ground along each pipe.
    watering : Watering
        Head that each float valve needs to pass its flow.
    flows : Flows
        Cases in which mobs drink.
    intake : Intake
        Level of the source by flow.
    pipe : PipeSettings
    design : DesignSettings
        Whether pipe lies on the surface, which sets the temperature of its wall.
    folder : Path
        What the paths of the tables of pipe and prices are relative to.
    margins : HeadMargins, optional
        Head and height to keep in hand; the choice is then the cheapest that keeps them.

    Returns
    -------
    Sizes

    Raises
    ------
    InputError
        Faults of the tables of pipe and prices; a network that is no tree.
    SolverError
        The optimiser stopped without an answer.
    """
    offer = make_offer(pipe, design, folder)
    scheme = make_scheme(network, heads, watering, flows, intake, margins)
    if not scheme.pipes:
        return _nothing(network, heads, scheme)
    full, failed = scheme, choose(scheme, offer, pipe)
    choice = failed
    if failed.sizing.option is None:
        eased = ease(scheme, failed, offer, pipe)
        if eased is not None:
            (scheme, choice), failed = eased, of_the_lost(failed, eased[0])
    left_out = [name for name, out in zip(scheme.outlets, scheme.pressed, strict=True) if out]
    return Sizes(
        pipe_table(scheme, choice, offer, flows, pipe),
        outlet_table(scheme, choice, full, failed),
        break_table(network, heads, choice.breaks),
        explain(holding, network, full, failed, offer, intake, pipe, left_out),
        choice.sizing.proof,
        (*offer.warnings, *_warnings(scheme, choice, offer, intake)),
        long_sections(scheme, choice, offer, heads),
    )


def _nothing(network: Network, heads: Heads, scheme: Scheme) -> Sizes:
    """Return the sizes of a scheme without pipe: nothing to find, nothing to pay."""
    outlets = pd.DataFrame(
        {
            "residual_head_m": scheme.still_level_m - scheme.outlet_ground_m,
            "needed_head_m": scheme.valve_head_m,
        },
        index=pd.Index(scheme.outlets, dtype=object),
    )
    proof = Proof(0.0, 0.0, 0.0, "optimal")
    return Sizes(no_pipe(scheme), outlets, break_table(network, heads, ()), (), proof)


def _warnings(scheme: Scheme, choice: Choice, offer: Offer, intake: Intake) -> list[str]:
    found = _existing_warnings(scheme, offer)
    drawn = scheme.flow_m3_s[:, scheme.parent < 0].sum(axis=1)[scheme.asking]
    most = float(l_min_from_m3_s(drawn).max(initial=0.0))
    falls = intake.level_m[-1] < intake.level_m[-2]
    if falls and most > intake.flow_l_min[-1] * (1.0 + 1e-9):
        found.append(
            words("sizing.size.drawn_beyond_known", most=most, flow_l_min=intake.flow_l_min[-1])
        )
    option = choice.sizing.option
    if option is not None and choice.breaks:
        parts = choice.stretches.pipe
        mixed = [
            scheme.pipes[number]
            for number in np.unique(parts)
            if len(np.unique(option[parts == number])) > 1
        ]
        found += [words("sizing.size.size_differs_at_break", name=name) for name in mixed]
    return found


def _existing_warnings(scheme: Scheme, offer: Offer) -> list[str]:
    """Say what pipe in the ground is taken to be, one sentence a size, on whose word."""
    options = offer.existing_options(scheme.existing_mm)
    stated = ~np.isnan(scheme.existing_mm)
    size_mm = np.where(stated, scheme.existing_mm, offer.existing_mm)
    found = []
    kinds = zip(size_mm[scheme.existing], stated[scheme.existing], strict=True)
    for mm, given in dict.fromkeys(kinds):
        alike = scheme.existing & (size_mm == mm) & (stated == given)
        there = np.flatnonzero(alike)
        names = ", ".join(scheme.pipes[number] for number in there)
        if options[there[0]] < 0:
            found.append(words("sizing.size.existing_sized_as_new", names=names, mm=mm))
            continue
        size = offer.sizes[options[there[0]]].name
        found.append(
            words("sizing.size.existing_taken_as", names=names, size=size)
            + (
                words("sizing.size.existing_check_class")
                if given
                else words("sizing.size.existing_measure")
            )
        )
    return found
