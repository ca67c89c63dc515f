"""What every command shares: exit codes, arguments, the bars and the notes on stderr."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from dewpond.base.progress import StageProgress

if TYPE_CHECKING:
    from dewpond.base.measures import Measures
    from dewpond.base.model import Verdict

EXIT_MET, EXIT_SHORT, EXIT_INPUT, EXIT_INTERNAL = 0, 1, 2, 3

project_argument = click.argument(
    "project", type=click.Path(path_type=Path), metavar="HOLDING.toml"
)
json_option = click.option("--json", "as_json", is_flag=True, help="Print the result as JSON.")
output_option = click.option(
    "-o",
    "--output",
    required=True,
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder for the results; replaced only when the new ones are complete.",
)


@contextmanager
def stage_bars() -> Iterator[StageProgress]:
    """Show the stages of a plan as bars on stderr."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    console = Console(stderr=True)
    columns = (TextColumn("{task.description:<9}"), BarColumn(), TimeElapsedColumn())
    with Progress(*columns, console=console, disable=not console.is_terminal) as bars:
        tasks: dict[str, Any] = {}

        def report(stage: str, share: float) -> None:
            if stage not in tasks:
                tasks[stage] = bars.add_task(stage, total=1.0)
            bars.update(tasks[stage], completed=share)

        yield report


def warn(messages: Iterable[str]) -> None:
    """Tell each message on stderr."""
    for message in messages:
        click.echo(f"note: {message}", err=True)


def figure_text(verdict: Verdict, measures: Measures) -> str:
    """Return the figure of a verdict with its unit, in words where there is none."""
    if math.isnan(verdict.figure):
        return "not known"
    return measures.stated(verdict.figure, verdict.unit)
