"""One holding, start to finish: the whole run on one screen, and no algorithm."""

from __future__ import annotations

import platform
from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from importlib.metadata import version
from typing import TYPE_CHECKING, NamedTuple

from dewpond.base.model import (
    Candidates,
    CellGroups,
    Confidence,
    Corridors,
    Demand,
    Holding,
    Layout,
    Plan,
    Reach,
    Scheme,
    Terrain,
    best_scheme,
)
from dewpond.base.price_list import PriceList, read_price_list
from dewpond.base.progress import Progress, StageProgress, ignore_stages
from dewpond.base.repricing import laying_cost, repriced
from dewpond.base.settings import Project
from dewpond.steps.appraisal import appraise
from dewpond.steps.breaks import cut_breaks
from dewpond.steps.candidates import find_candidates
from dewpond.steps.confidence import assess_confidence
from dewpond.steps.corridors import lay_corridors
from dewpond.steps.costing import cost_scheme
from dewpond.steps.delivery import deliver
from dewpond.steps.demand import estimate_demand
from dewpond.steps.flows import design_flows
from dewpond.steps.grouping import group_cells
from dewpond.steps.heads import profile_heads
from dewpond.steps.intake import measure_intake
from dewpond.steps.isolation import place_isolation
from dewpond.steps.layout import lay_out
from dewpond.steps.levelling import level_ground
from dewpond.steps.read import read_holding
from dewpond.steps.routing import assemble_network
from dewpond.steps.siting import assign_ground
from dewpond.steps.sizing import size_pipe
from dewpond.steps.supply import judge_supply
from dewpond.steps.terrain import model_terrain
from dewpond.steps.troughs import choose_troughs
from dewpond.steps.walking import measure_walks

if TYPE_CHECKING:
    import geopandas as gpd
    import rasterio

# Libraries whose version can change a figure of the plan.
_LIBRARIES = ("dewpond", "geopandas", "highspy", "numpy", "pyproj", "rasterio", "scipy", "shapely")


def plan_holding(
    project: Project,
    *,
    paddocks: gpd.GeoDataFrame | None = None,
    elevation: rasterio.DatasetReader | Sequence[rasterio.DatasetReader] | None = None,
    progress: StageProgress = ignore_stages,
) -> Plan:
    """Plan drinking water for one holding.

    Parameters
    ----------
    project : Project
        From `load_project` or `project_from_dict`.
    paddocks : GeoDataFrame, optional
        Boundaries to use instead of ``project.paddocks``; any CRS, which must be set.
    elevation : rasterio dataset or several, optional
        Open rasters to use instead of ``project.terrain``, in order of preference.
    progress : callable, optional
        Told the name of each stage and the share of it that is done.

    Returns
    -------
    Plan
        The value of every step, with totals and verdicts; `Plan.met` says whether every
        requirement is met.

    Raises
    ------
    InputError
        With every fault found in the data.
    SolverError
        When the optimiser stops without an answer.
    """
    settings, design = project, project.design

    price_list = read_price_list(project)
    holding = level_ground(_read(project, paddocks, elevation, progress), settings.terrain)
    terrain = model_terrain(holding, settings.walking)
    demand = estimate_demand(holding, settings.demand, design)
    candidates = find_candidates(
        holding, terrain, settings.siting, design, settings.paddocks.gap_width_m,
        settings.layout.spine_spacing_m,
    )  # fmt: skip
    reach = measure_walks(
        holding, terrain, candidates, settings.walking, design, progress=_part(progress, "walking")
    )
    corridors = lay_corridors(
        holding, terrain, candidates, settings.routing, design, settings.prices
    )
    groups = group_cells(reach)
    ground = _Ground(project, holding, terrain, demand, candidates, reach, groups, corridors)
    schemes = tuple(
        _scheme(
            ground, price_list, source, _part(progress, f"layout, {project.source[source].name}")
        )
        for source in _sources(project)
    )
    chosen = best_scheme(schemes)
    breaks = cut_breaks(
        holding, demand, candidates, schemes[chosen].network, settings.breaks, design
    )
    return Plan(
        project, holding, terrain, demand, candidates, reach, corridors, schemes, chosen,
        library_versions(), breaks, _sure(ground, schemes[chosen], progress),
    )  # fmt: skip


class _Ground(NamedTuple):
    """What every scheme of a holding shares, whatever its source and prices."""

    settings: Project
    holding: Holding
    terrain: Terrain
    demand: Demand
    candidates: Candidates
    reach: Reach
    groups: CellGroups
    corridors: Corridors


def _scheme(
    ground: _Ground,
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
    costing = cost_scheme(
        ground.holding, ground.demand, ground.candidates, ground.reach, scheme.network,
        scheme.heads, scheme.watering, scheme.isolation, scheme.sizes, scheme.supply,
        ground.settings, price_list,
    )  # fmt: skip
    return replace(scheme, rounds=tuple(rounds), costing=costing)


def _round(
    ground: _Ground,
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
    delivery = deliver(network, heads, watering, flows, intake, sizes, pipe)
    isolation = place_isolation(holding, demand, network, heads, watering, supply, design)
    judged = judge_supply(
        holding, demand, network, heads, watering, flows, intake, sizes, delivery, supply,
        settings.trough, design,
    )  # fmt: skip
    appraisal = appraise(
        holding, demand, reach, layout, siting, network, heads, flows, intake, sizes, judged,
        settings, laying_cost(layout, priced, corridors),
    )  # fmt: skip
    return Scheme(
        layout, siting, network, heads, watering, flows, intake, sizes, delivery, isolation,
        judged, appraisal,
    )  # fmt: skip


def _sure(ground: _Ground, scheme: Scheme, progress: StageProgress) -> Confidence | None:
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


def check_holding(project: Project) -> Holding:
    """Read and check the data of a project and plan nothing; raises as `plan_holding`."""
    read_price_list(project)
    return read_holding(project)


def demand_of(project: Project) -> tuple[Holding, Demand]:
    """Work out the water needed on the peak day and nothing else; raises as `plan_holding`."""
    holding = read_holding(project)
    return holding, estimate_demand(holding, project.demand, project.design)


def library_versions() -> dict[str, str]:
    """Return the versions of Python and of the libraries that can change a figure."""
    return {"python": platform.python_version(), **{name: version(name) for name in _LIBRARIES}}


def _read(
    project: Project,
    paddocks: gpd.GeoDataFrame | None,
    elevation: rasterio.DatasetReader | Sequence[rasterio.DatasetReader] | None,
    progress: StageProgress,
) -> Holding:
    progress("reading", 0.0)
    holding = read_holding(project, paddocks=paddocks, elevation=elevation)
    progress("reading", 1.0)
    return holding


def _sources(project: Project) -> list[int]:
    """Return the positions of the sources to try: the one asked for, or every one."""
    asked = project.design.source
    return [number for number, source in enumerate(project.source) if asked in (None, source.name)]


def _part(progress: StageProgress, stage: str) -> Progress:
    def report(share: float) -> None:
        progress(stage, share)

    return report
