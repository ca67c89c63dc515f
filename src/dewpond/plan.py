"""One holding, start to finish: the whole run on one screen, and no algorithm."""

from __future__ import annotations

import platform
from collections.abc import Sequence
from importlib.metadata import version
from typing import TYPE_CHECKING

from dewpond.base.model import Demand, Holding, Plan
from dewpond.base.progress import Progress, StageProgress, ignore_stages
from dewpond.base.settings import Project
from dewpond.steps.appraisal import appraise
from dewpond.steps.candidates import find_candidates
from dewpond.steps.corridors import lay_corridors
from dewpond.steps.demand import estimate_demand
from dewpond.steps.heads import profile_heads
from dewpond.steps.layout import lay_out
from dewpond.steps.read import read_holding
from dewpond.steps.routing import assemble_network
from dewpond.steps.siting import assign_ground
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
    settings, design = project, project.design

    holding = _read(project, paddocks, elevation, progress)
    terrain = model_terrain(holding, settings.walking)
    demand = estimate_demand(holding, settings.demand, design)
    candidates = find_candidates(
        holding, terrain, settings.siting, design, settings.paddocks.gap_width_m
    )
    reach = measure_walks(
        holding, terrain, candidates, settings.walking, design, progress=_part(progress, "walking")
    )
    corridors = lay_corridors(
        holding, terrain, candidates, settings.routing, design, settings.prices
    )
    layout = lay_out(
        holding, candidates, reach, corridors, settings.layout, design, settings.prices,
        source=_source(project), progress=_part(progress, "layout"),
    )  # fmt: skip
    siting = assign_ground(candidates, reach, layout)
    network = assemble_network(holding, corridors, layout)
    heads = profile_heads(holding, network)
    appraisal = appraise(holding, demand, reach, siting, network, heads, design, settings.prices)
    return Plan(
        project, holding, terrain, demand, candidates, reach, corridors, siting, network, heads,
        appraisal, library_versions(),
    )  # fmt: skip


def check_holding(project: Project) -> Holding:
    """Read and check the data of a project and plan nothing; raises as `plan_holding`."""
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


def _source(project: Project) -> int:
    """Return the position of the source that feeds the scheme."""
    names = [source.name for source in project.source]
    return names.index(project.design.source) if project.design.source is not None else 0


def _part(progress: StageProgress, stage: str) -> Progress:
    def report(share: float) -> None:
        progress(stage, share)

    return report
