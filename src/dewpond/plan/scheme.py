"""One source carried through to the trough, priced, and made safer where that is asked."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import NamedTuple

from dewpond.base.model import (
    Candidates,
    CellGroups,
    Confidence,
    Corridors,
    Demand,
    Flows,
    Heads,
    Holding,
    Intake,
    Layout,
    Network,
    Reach,
    Scheme,
    Siting,
    Sizes,
    Terrain,
    Watering,
    best_scheme,
)
from dewpond.base.price_list import PriceList
from dewpond.base.progress import Progress, StageProgress
from dewpond.base.repricing import laying_cost, repriced
from dewpond.base.settings import Project
from dewpond.steps.appraisal import appraise
from dewpond.steps.confidence import assess_confidence
from dewpond.steps.costing import cost_scheme
from dewpond.steps.delivery import deliver
from dewpond.steps.flows import design_flows
from dewpond.steps.heads import profile_heads
from dewpond.steps.intake import measure_intake
from dewpond.steps.isolation import place_isolation
from dewpond.steps.layout import lay_out
from dewpond.steps.routing import assemble_network
from dewpond.steps.siting import assign_ground
from dewpond.steps.sizing import size_pipe
from dewpond.steps.supply import judge_supply
from dewpond.steps.troughs import choose_troughs


class Ground(NamedTuple):
    """What every scheme of a holding shares, whatever its source and prices."""

    settings: Project
    holding: Holding
    terrain: Terrain
    demand: Demand
    candidates: Candidates
    reach: Reach
    groups: CellGroups
    corridors: Corridors


def plan_scheme(
    ground: Ground,
    price_list: PriceList,
    source: int,
    progress: Progress,
) -> Scheme:
    """Carry one source through, choose again with the prices of the sizes it came to, cost it."""
    corridors = ground.corridors
    scheme = _round(ground, corridors, source, progress)
    rounds = [scheme.appraisal.totals["cost"]]
    for _ in range(ground.settings.layout.price_rounds):
        price_per_m = scheme.sizes.pipes["price_per_m"]
        if price_per_m.isna().any():
            break
        priced = repriced(corridors, scheme.network, price_per_m)
        again = _round(ground, priced, source, progress, scheme.layout)
        rounds.append(again.appraisal.totals["cost"])
        scheme = (scheme, again)[best_scheme((scheme, again))]
    return replace(_costed(ground, price_list, scheme), rounds=tuple(rounds))


def _round(
    ground: Ground,
    priced: Corridors,
    source: int,
    progress: Progress,
    start: Layout | None = None,
) -> Scheme:
    """Choose outlets and pipe at given prices, then bring the water down to the trough."""
    settings, holding, terrain, demand, candidates, reach, groups, corridors = ground
    design, pipe, supply = settings.design, settings.pipe, settings.supply
    layout = lay_out(
        holding, candidates, reach, groups, priced, settings.layout, design, settings.prices,
        source=source, start=start, progress=progress,
    )  # fmt: skip
    siting = assign_ground(candidates, reach, layout)
    network = assemble_network(holding, corridors, layout)
    heads = profile_heads(holding, network)
    watering = choose_troughs(
        holding, terrain, demand, reach, siting, network, settings.trough, design, settings.folder
    )
    flows = design_flows(network, watering)
    intake = measure_intake(holding, network, heads, flows, supply, pipe)
    sizes = size_pipe(
        holding, network, heads, watering, flows, intake, pipe, design, settings.folder
    )
    return _judged(
        ground, layout, siting, network, heads, watering, flows, intake, sizes,
        laying_cost(layout, priced, corridors),
    )  # fmt: skip


def _judged(
    ground: Ground,
    layout: Layout,
    siting: Siting,
    network: Network,
    heads: Heads,
    watering: Watering,
    flows: Flows,
    intake: Intake,
    sizes: Sizes,
    laying: float,
) -> Scheme:
    """Hold a sized scheme against everything that is asked of it."""
    settings, holding, demand = ground.settings, ground.holding, ground.demand
    design, pipe, supply = settings.design, settings.pipe, settings.supply
    delivery = deliver(network, heads, watering, flows, intake, sizes, pipe)
    isolation = place_isolation(holding, demand, network, heads, watering, supply, design)
    judged = judge_supply(
        holding, demand, network, heads, watering, flows, intake, sizes, delivery, supply,
        settings.trough, design,
    )  # fmt: skip
    appraisal = appraise(
        holding, demand, ground.reach, layout, siting, network, heads, flows, intake, sizes,
        judged, settings, laying,
    )  # fmt: skip
    return Scheme(
        layout, siting, network, heads, watering, flows, intake, sizes, delivery, isolation,
        judged, appraisal,
    )  # fmt: skip


def _costed(ground: Ground, price_list: PriceList, scheme: Scheme) -> Scheme:
    costing = cost_scheme(
        ground.holding, ground.demand, ground.candidates, ground.reach, scheme.network,
        scheme.heads, scheme.watering, scheme.isolation, scheme.sizes, scheme.supply,
        ground.settings, price_list,
    )  # fmt: skip
    return replace(scheme, costing=costing)


def make_safer(
    ground: Ground,
    price_list: PriceList,
    scheme: Scheme,
    confidence: Confidence | None,
    progress: StageProgress,
) -> tuple[Scheme, Confidence | None]:
    """Carry the pipe of the safer design through, and say how sure that is."""
    if confidence is None or confidence.safer is None:
        return scheme, confidence
    laying = scheme.appraisal.totals["laying_cost"]
    safer = _judged(
        ground, scheme.layout, scheme.siting, scheme.network, scheme.heads, scheme.watering,
        scheme.flows, scheme.intake, confidence.safer, laying,
    )  # fmt: skip
    safer = replace(_costed(ground, price_list, safer), rounds=scheme.rounds)
    sure = how_sure(ground, safer, progress)
    if sure is not None:
        design = {**confidence.design, "built": 1.0}
        sure = replace(sure, design=design, design_pipes=confidence.design_pipes)
    return safer, sure


def how_sure(ground: Ground, scheme: Scheme, progress: StageProgress) -> Confidence | None:
    """Say how sure a scheme is; it may ask for the same scheme sized with more in hand."""
    settings, holding = ground.settings, ground.holding
    if settings.confidence.assess is False:
        return None
    progress("confidence", 0.0)
    network, heads, watering = scheme.network, scheme.heads, scheme.watering
    flows, intake = scheme.flows, scheme.intake
    resize = partial(
        size_pipe, holding, network, heads, watering, flows, intake, settings.pipe,
        settings.design, settings.folder,
    )  # fmt: skip
    found = assess_confidence(
        holding, ground.terrain, network, heads, watering, flows, intake, scheme.sizes, settings,
        resize,
    )  # fmt: skip
    progress("confidence", 1.0)
    return found
