"""What gravity commands from a source: the whole step on one screen."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
import shapely

from dewpond.base.heighterror import HeightError, assumption, height_error
from dewpond.base.model import Demand, Holding
from dewpond.base.model.command import CommandCase, CommandGround
from dewpond.base.progress import StageProgress, ignore_stages
from dewpond.base.settings import Project
from dewpond.base.surface import FloatArray, Grid
from dewpond.base.words import words
from dewpond.steps.command.ask import Asked, ask
from dewpond.steps.command.chance import doubt_of
from dewpond.steps.command.listing import list_tanks
from dewpond.steps.command.paddocks import IntArray, cells_of_paddocks, paddock_table
from dewpond.steps.command.ways import Grade, Ways, follow_ways
from dewpond.steps.command.window import centres_of, lay_window

_TOLD_UNKNOWN_SHARE = 0.01


def find_command(
    project: Project,
    holding: Holding,
    demand: Demand,
    *,
    progress: StageProgress = ignore_stages,
) -> CommandGround:
    """Work out where gravity delivers a flow at a head through a pipe, and how surely.

    Parameters
    ----------
    project : Project
        What is asked stands in ``[command_area]``; pipe, supply, trough, design and terrain
        settings give the rest.
    holding : Holding
    demand : Demand
        Design flow of the mobs, where no flow is asked for.
    progress : callable, optional

    Returns
    -------
    CommandGround

    Raises
    ------
    InputError
        With every fault in what is asked.

    Notes
    -----
    Pipe is taken to run straight to each cell; its length is that of the ground under it times
    the length factor. A cell is served where the level at the source, less friction, leaves the
    head wanted there, and where the grade line keeps the margin over all ground on the way.
    The chance takes in the end and every place on the way, in stretches whose errors hang
    together: see `follow_ways`.
    """
    asked = ask(project, holding, demand)
    case = asked.case
    chosen = [holding.paddocks.geometry.loc[label] for label in asked.chosen]
    also = [shapely.Point(case.easting_m, case.northing_m)]
    if project.command_area.tank_sites:
        reach_m = project.supply.tank_search_m
        also.append(shapely.union_all(chosen).envelope.buffer(reach_m, join_style="mitre"))
    ground = lay_window(holding, project.command_area.cell_m, also)
    error = height_error(project.terrain, holding.surface.posting_m)
    ways = _ways(case, holding, ground, error, progress)
    cells = cells_of_paddocks(holding, ground)
    found = _ground(
        asked, holding, ground, ways, cells, project.command_area.share_wanted,
        _assumed(error, holding),
    )  # fmt: skip
    tanks, notes = list_tanks(
        project, holding, asked.chosen, ground, cells, grade_of(case), error,
        case.allowed_static_head_m, progress,
    )  # fmt: skip
    warnings = (*asked.warnings, *_warnings(project, error, found, asked), *notes)
    return CommandGround(
        case, ground, found.residual_head_m, found.spare_m, found.chance,
        found.highest_static_head_m, found.pipe_length_m, found.paddocks, tanks,
        found.assumed, warnings,
    )  # fmt: skip


def grade_of(case: CommandCase) -> Grade:
    """Return how water falls along the pipe of a case."""
    return Grade(
        case.loss_per_m, case.fittings_loss_m, case.length_factor, case.head_m, case.margin_m
    )


def _ways(
    case: CommandCase,
    holding: Holding,
    ground: Grid,
    error: HeightError,
    progress: StageProgress,
) -> Ways:
    """Follow the way from the source to every cell."""
    end = centres_of(ground)
    at = (case.easting_m, case.northing_m)
    doubt = doubt_of(error, ground, at, holding.known_levels, level_known=case.level_known)
    count = len(end)
    return follow_ways(
        ground, np.broadcast_to(np.array(at), (count, 2)), end, np.full(count, case.level_m),
        np.full(count, case.still_level_m), grade_of(case), doubt,
        lambda share: progress("following the ground", share),
    )  # fmt: skip


def _ground(
    asked: Asked,
    holding: Holding,
    ground: Grid,
    ways: Ways,
    cells: Sequence[IntArray],
    share: float,
    assumed: dict[str, float | str],
) -> CommandGround:
    def grid(values: FloatArray) -> Grid:
        return Grid(values.reshape(ground.values.shape), ground.transform, ground.crs)

    found = CommandGround(
        asked.case, ground, grid(ways.residual_head_m), grid(ways.spare_m), grid(ways.chance),
        grid(ways.highest_static_head_m), grid(ways.length_m * asked.case.length_factor),
        pd.DataFrame(), pd.DataFrame(), assumed,
    )  # fmt: skip
    paddocks = paddock_table(
        holding, cells, asked.chosen, share, ways.residual_head_m, ways.spare_m,
        ways.chance, found.served_class().ravel(), found.over_class().ravel(),
    )  # fmt: skip
    return CommandGround(**{**found.__dict__, "paddocks": paddocks})


def _assumed(error: HeightError, holding: Holding) -> dict[str, float | str]:
    return {
        "standard_deviation_m": error.standard_deviation_m,
        "short_range_m": error.short_range_m,
        "long_range_m": error.long_range_m,
        "long_share": error.long_share,
        "data_class": error.data_class,
        "source": error.source,
        "levels": float(len(holding.known_levels)) if holding.known_levels else 0.0,
    }


def _warnings(
    project: Project, error: HeightError, found: CommandGround, asked: Asked
) -> list[str]:
    """Return what the reader should know of the ground and the pipe's class."""
    told = []
    chosen = found.paddocks.loc[list(asked.chosen)]
    unknown = chosen[chosen["unknown_share"] > _TOLD_UNKNOWN_SHARE]
    if len(unknown):
        told.append(words(
            "command.unknown_ground", names=", ".join(unknown["name"]),
            share_percent=100.0 * unknown["unknown_share"].min(),
        ))  # fmt: skip
    over = chosen[chosen["over_class_share"] > 0.0]
    if len(over):
        told.append(words(
            "command.over_class", names=", ".join(over["name"]),
            class_bar=asked.case.pipe.pressure_class_bar,
            allowed_m=asked.case.allowed_static_head_m,
        ))  # fmt: skip
    doubt = assumption(project.terrain, error)
    return [*told, doubt] if doubt else told
