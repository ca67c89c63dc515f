"""One holding, start to finish: the whole run on one screen, and no algorithm."""

from __future__ import annotations

import platform
from collections.abc import Sequence
from importlib.metadata import version
from typing import TYPE_CHECKING

from dewpond.base.measures import Measures
from dewpond.base.model import (
    Demand,
    Holding,
    Plan,
    best_scheme,
)
from dewpond.base.price_list import read_price_list
from dewpond.base.progress import Progress, StageProgress, ignore_stages
from dewpond.base.settings import Project
from dewpond.base.words import printing
from dewpond.plan.scheme import Ground, how_sure, make_safer, plan_scheme
from dewpond.steps.breaks import cut_breaks
from dewpond.steps.candidates import find_candidates
from dewpond.steps.corridors import lay_corridors
from dewpond.steps.demand import estimate_demand
from dewpond.steps.grouping import group_cells
from dewpond.steps.levelling import level_ground
from dewpond.steps.read import read_holding
from dewpond.steps.terrain import model_terrain
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
    with printing(Measures(project.documents.units)):
        return _planned(project, paddocks, elevation, progress)


def _planned(
    project: Project,
    paddocks: gpd.GeoDataFrame | None,
    elevation: rasterio.DatasetReader | Sequence[rasterio.DatasetReader] | None,
    progress: StageProgress,
) -> Plan:
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
    ground = Ground(project, holding, terrain, demand, candidates, reach, groups, corridors)
    schemes = tuple(
        plan_scheme(
            ground, price_list, source, _part(progress, f"layout, {project.source[source].name}")
        )
        for source in _sources(project)
    )
    chosen = best_scheme(schemes)
    confidence = how_sure(ground, schemes[chosen], progress)
    if settings.confidence.size_for == "wanted chance":
        safer, confidence = make_safer(ground, price_list, schemes[chosen], confidence, progress)
        schemes = (*schemes[:chosen], safer, *schemes[chosen + 1 :])
    breaks = cut_breaks(
        holding, demand, candidates, schemes[chosen].network, settings.breaks, design
    )
    return Plan(
        project, holding, terrain, demand, candidates, reach, corridors, schemes, chosen,
        library_versions(), breaks, confidence,
    )  # fmt: skip


def check_holding(project: Project) -> Holding:
    """Read and check the data of a project and plan nothing; raises as `plan_holding`."""
    read_price_list(project)
    with printing(Measures(project.documents.units)):
        return read_holding(project)


def demand_of(project: Project) -> tuple[Holding, Demand]:
    """Work out the water needed on the peak day and nothing else; raises as `plan_holding`."""
    with printing(Measures(project.documents.units)):
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
