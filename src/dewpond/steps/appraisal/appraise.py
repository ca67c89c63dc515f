"""The step: add up a scheme and hold every requirement against its limit."""

from __future__ import annotations

from dewpond.base.model import (
    Appraisal,
    Demand,
    Flows,
    Heads,
    Holding,
    Intake,
    Layout,
    Network,
    Reach,
    Siting,
    Sizes,
    Supply,
)
from dewpond.base.settings import Project
from dewpond.steps.appraisal.totals import total_figures
from dewpond.steps.appraisal.verdicts import delivered, joined, pipe, source, static_head, walking


def appraise(
    holding: Holding,
    demand: Demand,
    reach: Reach,
    layout: Layout,
    siting: Siting,
    network: Network,
    heads: Heads,
    flows: Flows,
    intake: Intake,
    sizes: Sizes,
    supply: Supply,
    settings: Project,
    laying_cost: float,
) -> Appraisal:
    """Add up a scheme and give one verdict for each requirement.

    Parameters
    ----------
    holding, demand, reach, layout, siting, network, heads, flows, intake, sizes, supply
        Values of the steps before.
    settings : Project
        Limits from ``[design]`` and ``[pipe]``.
    laying_cost : float
        Price of laying the pipe with its crossings and wayleaves, pipe itself left out.

    Returns
    -------
    Appraisal
        Verdicts in the order in which an adviser would ask: ground, pipe, flow, source.
    """
    totals = total_figures(demand, reach, layout, siting, network, flows, sizes, laying_cost)
    return Appraisal(
        totals,
        (
            walking(holding, reach, siting, totals["covered_share"], settings.design),
            joined(siting, network),
            static_head(network, heads, intake),
            delivered(network, heads, intake, sizes),
            *pipe(sizes, settings.pipe),
            *source(holding.sources[network.source].name, supply),
        ),
    )
