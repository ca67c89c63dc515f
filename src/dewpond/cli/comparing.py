"""The command that plans a holding several ways and sets the plans side by side."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from dewpond.cli.common import (
    EXIT_INPUT,
    EXIT_INTERNAL,
    EXIT_MET,
    EXIT_SHORT,
    figure_text,
    json_option,
    output_option,
    project_argument,
    stage_bars,
)

if TYPE_CHECKING:
    from dewpond.base.model import Comparison


@click.command("compare")
@project_argument
@output_option
@click.option(
    "--instead",
    multiple=True,
    metavar="KEY=VALUE,...",
    help="Plan once more with each of these values, for instance walk_limit_m=200,300.",
)
@click.option(
    "--every-combination",
    is_flag=True,
    help="Combine the values of every --instead with those of the others.",
)
@json_option
def compare_command(
    project: Path,
    output: Path,
    instead: tuple[str, ...],
    every_combination: bool,
    as_json: bool,
) -> int:
    """Plan one holding several ways: as it stands, its what-ifs, and every --instead."""
    from dewpond.base.settings import load_project
    from dewpond.compare import compare_plans, read_shorthand
    from dewpond.outputs import check_folder, write_comparison

    settings = load_project(project)
    check_folder(output)
    asked = read_shorthand(instead, every_combination=every_combination)
    with stage_bars() as report:
        comparison = compare_plans(settings, (*settings.what_if, *asked), progress=report)
    if not any(outcome.planned for outcome in comparison.outcomes):
        _tell_failures(comparison, "error")
        return _exit_code(comparison)
    write_comparison(comparison, output)
    if as_json:
        click.echo((output / "comparison.json").read_text(encoding="utf-8"))
    else:
        from dewpond.cli.tables import comparison_table, print_tables

        print_tables(comparison_table(comparison))
    _tell(comparison, output)
    return _exit_code(comparison)


def _tell(comparison: Comparison, output: Path) -> None:
    from dewpond.base.measures import Measures

    measures = Measures(comparison.units)
    _tell_failures(comparison, "note")
    for outcome in comparison.outcomes:
        for verdict in outcome.verdicts:
            if not verdict.met:
                tail = [part for part in (verdict.where, verdict.remedy) if part]
                figure = figure_text(verdict, measures)
                line = f"SHORT: {outcome.name}: {verdict.requirement} ({figure})"
                click.echo("; ".join([line, *tail]), err=True)
    click.echo(f"results in {output}", err=True)


def _tell_failures(comparison: Comparison, kind: str) -> None:
    for outcome in comparison.outcomes:
        for line in outcome.failure.splitlines():
            click.echo(f"{kind}: {outcome.name} could not be planned: {line}", err=True)


def _exit_code(comparison: Comparison) -> int:
    """Return the worst that befell: a fault of the program, nothing planned, or a shortfall."""
    if any(outcome.internal for outcome in comparison.outcomes):
        return EXIT_INTERNAL
    if not any(outcome.planned for outcome in comparison.outcomes):
        return EXIT_INPUT
    return EXIT_MET if comparison.met else EXIT_SHORT
