"""Results as files: everything a plan says, written in one go or not at all."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path

from dewpond.base.measures import Measures
from dewpond.base.model import CommandArea, Comparison, Plan
from dewpond.base.words import printing
from dewpond.outputs.breaks import breaks_csv
from dewpond.outputs.command import command_csv, command_json, command_layers, write_raster
from dewpond.outputs.comparison import comparison_csv, comparison_json
from dewpond.outputs.geojson import geojson_text
from dewpond.outputs.geopackage import write_geopackage
from dewpond.outputs.layers import Layers, plan_layers
from dewpond.outputs.replace import check_folder, replace_folder
from dewpond.outputs.site import gpx_text, points_csv, site_points
from dewpond.outputs.summary import summary_text
from dewpond.outputs.survey import survey_csv

__all__ = ["check_folder", "write_command_area", "write_comparison", "write_plan"]

Writer = Callable[[Path], None]


def write_plan(
    plan: Plan,
    folder: str | Path,
    *,
    overwrite: bool = True,
    documents: bool = True,
    timed: bool = True,
) -> tuple[Path, ...]:
    """Write all result files of a plan: features, figures, maps and long sections.

    Everything is made in a temporary folder beside the target and moved in place once it is
    complete, so that no reader ever sees half a result. The same plan gives the same bytes.

    Parameters
    ----------
    plan : Plan
    folder : str or Path
        Made when absent, with its parents. A result that stands there already is replaced as a
        whole; its ``summary.json`` tells which files belong to it.
    overwrite : bool, default True
        Whether an earlier result may be replaced.
    documents : bool, default True
        Whether to write everything, or features and figures only: ``plan.geojson`` and
        ``summary.json``.
    timed : bool, default True
        Whether the summary tells how long each search took; without, the same plan gives the
        same bytes in every file.

    Returns
    -------
    tuple of Path
        The files written, ``plan.geojson`` first.

    Raises
    ------
    InputError
        When the folder is a file, holds a result and `overwrite` is false, or holds files that
        are no part of an earlier result: those are never deleted.
    OutputError
        When a file cannot be written; an earlier result is left as it was.
    """
    with printing(Measures(plan.project.documents.units)):
        writers = _writers(plan) if documents else _figure_writers(plan)
        if not timed:
            writers["summary.json"] = _summary_writer(plan, [*writers], timed=False)
        return replace_folder(Path(folder), writers, overwrite=overwrite)


def write_comparison(
    comparison: Comparison, folder: str | Path, *, overwrite: bool = True
) -> tuple[Path, ...]:
    """Write a comparison as table, JSON and picture; the rest as `write_plan`.

    Returns
    -------
    tuple of Path
        ``comparison.csv``, ``comparison.json`` and ``comparison.png``.
    """
    from dewpond.outputs.drawing import comparison_chart, save_png

    files = ("comparison.csv", "comparison.json", "comparison.png")
    writers: dict[str, Writer] = {
        files[0]: lambda path: _write_text(comparison_csv(comparison), path),
        files[1]: lambda path: _write_text(comparison_json(comparison, files), path),
        files[2]: lambda path: save_png(comparison_chart(comparison), path),
    }
    return replace_folder(Path(folder), writers, overwrite=overwrite)


def write_command_area(
    area: CommandArea, folder: str | Path, *, overwrite: bool = True
) -> tuple[Path, ...]:
    """Write a command area as raster, features, table, summary and map; the rest as `write_plan`.

    Returns
    -------
    tuple of Path
        ``command-area.geojson``, ``.tif`` and ``.csv``, ``maps/command-area.png``,
        ``summary.json``.
    """
    from dewpond.outputs.drawing import command_map, save_png

    writers: dict[str, Writer] = {
        "command-area.geojson": lambda path: _write_text(geojson_text(command_layers(area)), path),
        "command-area.tif": lambda path: write_raster(area.ground, path),
        "command-area.csv": lambda path: _write_text(command_csv(area), path),
        "maps/command-area.png": lambda path: save_png(command_map(area), path),
    }
    files = [*writers, "summary.json"]
    writers["summary.json"] = lambda path: _write_text(command_json(area, files), path)
    return replace_folder(Path(folder), writers, overwrite=overwrite)


def _writers(plan: Plan) -> dict[str, Writer]:
    """Return what writes each file, by its path in the result folder."""
    # The libraries of drawings and workbooks are slow to import; only this function needs them.
    from dewpond.outputs.drawing import (
        breaks_map,
        plan_map,
        pressure_map,
        reach_map,
        save_png,
        section_lines,
    )
    from dewpond.outputs.drawing.plan_sheet import save_plan_sheets
    from dewpond.outputs.proposal import proposal_html
    from dewpond.outputs.schedule import quantities_csv, quantities_xlsx

    layers: Layers = plan_layers(plan)
    site = site_points(plan, layers)
    measures = Measures(plan.project.documents.units)
    writers: dict[str, Writer] = {
        "plan.geojson": lambda path: _write_text(geojson_text(layers), path),
        "plan.gpkg": lambda path: write_geopackage(layers, path),
        "maps/plan.png": lambda path: save_png(plan_map(plan, layers), path),
        "maps/pressure.png": lambda path: save_png(pressure_map(plan, layers), path),
        "maps/reach.png": lambda path: save_png(reach_map(plan, layers), path),
        "plan-sheet.pdf": lambda path: save_plan_sheets(plan, layers, path),
        "proposal.html": lambda path: _write_text(proposal_html(plan, layers), path),
        "site/points.gpx": lambda path: _write_text(gpx_text(plan, site), path),
        "site/points.csv": lambda path: _write_text(points_csv(site, measures), path),
    }
    costing = plan.scheme.costing
    if costing is not None:
        writers["quantities.xlsx"] = lambda path: _write_bytes(
            quantities_xlsx(plan, costing), path
        )
        writers["quantities.csv"] = lambda path: _write_text(quantities_csv(plan, costing), path)
    writers.update(_confidence_writers(plan, layers))
    breaks = plan.breaks
    if breaks is not None and len(breaks.breaks):
        writers["maps/breaks.png"] = lambda path: save_png(breaks_map(plan, breaks, layers), path)
        writers["breaks.csv"] = lambda path: _write_text(breaks_csv(breaks), path)
    for number, (stem, pipes) in enumerate(section_lines(plan.network).items(), start=1):
        writers[f"sections/{stem}.png"] = _section_writer(plan, layers, pipes, number)
    writers.update(_sheet_writers(plan, layers))
    writers["summary.json"] = _summary_writer(plan, [*writers, "summary.json"])
    return writers


def _confidence_writers(plan: Plan, layers: Layers) -> dict[str, Writer]:
    """Return what writes how sure the plan is; nothing where that was not assessed."""
    from dewpond.outputs.drawing import confidence_map, influences_chart, save_png

    found = plan.confidence
    if found is None:
        return {}
    writers: dict[str, Writer] = {
        "maps/confidence.png": lambda path: save_png(confidence_map(plan, found, layers), path)
    }
    if len(found.influences):
        writers["confidence/influences.png"] = lambda path: save_png(
            influences_chart(plan, found), path
        )
    if len(found.survey):
        writers["confidence/survey.csv"] = lambda path: _write_text(
            survey_csv(plan.holding, found.survey), path
        )
    return writers


def _figure_writers(plan: Plan) -> dict[str, Writer]:
    """Return what writes the features and the figures alone."""
    files = ["plan.geojson", "summary.json"]
    layers = plan_layers(plan)
    return {
        files[0]: lambda path: _write_text(geojson_text(layers), path),
        files[1]: _summary_writer(plan, files),
    }


def _summary_writer(plan: Plan, files: Sequence[str], *, timed: bool = True) -> Writer:
    return lambda path: _write_text(summary_text(plan, files, timed=timed), path)


def _section_writer(plan: Plan, layers: Layers, pipes: tuple[str, ...], number: int) -> Writer:
    from dewpond.outputs.drawing import long_section, save_png

    return lambda path: save_png(long_section(plan, layers, pipes, number), path)


def _sheet_writers(plan: Plan, layers: Layers) -> dict[str, Writer]:
    """Return what writes the sheets of all long sections; one section alone needs none."""
    from dewpond.outputs.drawing import (
        save_png,
        section_lines,
        section_sheet,
        section_sheets,
        take_runs,
    )

    runs = take_runs(plan, layers, section_lines(plan.network))
    if len(runs) < 2:
        return {}
    return {
        f"sections/all{'' if sheet == 1 else f'-{sheet}'}.png": partial(
            lambda sheet, path: save_png(section_sheet(plan, runs, sheet), path), sheet
        )
        for sheet in range(1, section_sheets(runs) + 1)
    }


def _write_text(text: str, path: Path) -> None:
    _write_bytes(text.encode("utf-8"), path)


def _write_bytes(made: bytes, path: Path) -> None:
    path.write_bytes(made)
