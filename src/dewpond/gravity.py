"""What gravity commands on one holding: reading, demand and the search on one screen."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from dewpond.base.measures import Measures
from dewpond.base.model import CommandArea
from dewpond.base.progress import StageProgress, ignore_stages
from dewpond.base.settings import Project, project_from_dict
from dewpond.base.words import printing
from dewpond.plan import library_versions
from dewpond.steps.command import find_command
from dewpond.steps.demand import estimate_demand
from dewpond.steps.levelling import level_ground
from dewpond.steps.read import read_holding

if TYPE_CHECKING:
    import geopandas as gpd
    import rasterio


def command_area(
    project: Project,
    asked: Mapping[str, Any] | None = None,
    *,
    paddocks: gpd.GeoDataFrame | None = None,
    elevation: rasterio.DatasetReader | Sequence[rasterio.DatasetReader] | None = None,
    progress: StageProgress = ignore_stages,
) -> CommandArea:
    """Work out where gravity from a source delivers a flow at a head, and how surely.

    Parameters
    ----------
    project : Project
        From `load_project` or `project_from_dict`.
    asked : mapping of str to value, optional
        Keys of ``[command_area]`` that go before those of the project: ``source``,
        ``paddocks`` (names), ``flow_l_min``, ``head_m``, ``material``,
        ``outside_diameter_mm``, ``pressure_class_bar``, ``sdr``, ``length_factor``,
        ``cell_m``, ``tank_sites``.
    paddocks : GeoDataFrame, optional
        Boundaries to use instead of ``project.paddocks``; any CRS, which must be set.
    elevation : rasterio dataset or several, optional
        Open rasters to use instead of ``project.terrain``, in order of preference.
    progress : callable, optional
        Told the name of each stage and the share of it that is done.

    Returns
    -------
    CommandArea
        Rasters, shares by paddock and places for a tank; `CommandArea.met` says whether every
        chosen paddock is commanded.

    Raises
    ------
    InputError
        With every fault found in the data, or in what is asked.
    """
    project = _with(project, asked or {})
    progress("reading", 0.0)
    with printing(Measures(project.documents.units)):
        holding = read_holding(project, paddocks=paddocks, elevation=elevation)
        holding = level_ground(holding, project.terrain)
    progress("reading", 1.0)
    demand = estimate_demand(holding, project.demand, project.design)
    ground = find_command(project, holding, demand, progress=progress)
    return CommandArea(project, holding, ground, library_versions())


def _with(project: Project, asked: Mapping[str, Any]) -> Project:
    """Return the project with some keys of ``[command_area]`` otherwise, checked like any."""
    if not asked:
        return project
    raw = project.model_dump(exclude_unset=True)
    raw["command_area"] = {**raw.get("command_area", {}), **asked}
    return project_from_dict(raw, folder=project.folder)
