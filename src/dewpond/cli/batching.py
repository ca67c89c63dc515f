"""The command that plans many holdings."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from dewpond.cli.common import EXIT_MET, EXIT_SHORT, json_option

if TYPE_CHECKING:
    from dewpond.batch import BatchOptions, BatchReport, Rows
    from dewpond.batch.slot import Outcome

_LINE_EVERY_S = 60.0
_SHOWN_FAILURES = 20


def _rows(path: str | None, layer: str | None, field: str | None) -> Rows | None:
    from dewpond.batch import Rows

    return None if path is None else Rows(path, layer, field)


@click.command("batch")
@click.argument("given", type=click.Path(path_type=Path), metavar="INPUT")
@click.option(
    "-o", "--output", required=True, type=click.Path(path_type=Path, file_okay=False),
    help="Folder of the batch; given again, it goes on where it stopped.",
)  # fmt: skip
@click.option(
    "--holdings", metavar="FILE",
    help="Field boundaries of all holdings; INPUT is then the template project.",
)  # fmt: skip
@click.option("--holdings-layer", metavar="NAME", help="Layer of that file, if it has several.")
@click.option("--holding-field", metavar="NAME", help="Field that names the holding of a row.")
@click.option(
    "--sources", metavar="FILE",
    help="Sources of all holdings, points or mains as lines: those with the name of the holding "
    "in its field, or where there is no such field the nearest.",
)  # fmt: skip
@click.option("--sources-layer", metavar="NAME", help="Layer of that file, if it has several.")
@click.option(
    "--mobs", metavar="FILE",
    help="Mobs of all holdings, a row each, with the field that names the holding.",
)  # fmt: skip
@click.option("--mobs-layer", metavar="NAME", help="Layer of that file, if it has several.")
@click.option(
    "--head-per-ha", type=float, metavar="NUMBER",
    help="Head a hectare: the mobs of the template are scaled to the land of each holding.",
)  # fmt: skip
@click.option("--processes", type=int, metavar="N", help="Holdings at a time [one a core].")
@click.option(
    "--memory-mb", type=int, metavar="MB", help="Most memory of one holding [its share of 80 %]."
)
@click.option(
    "--holding-seconds", type=float, default=300.0, show_default=True, metavar="S",
    help="Longest time of one holding.",
)  # fmt: skip
@click.option(
    "--search-seconds", type=float, default=5.0, show_default=True, metavar="S",
    help="Effort of the search in one holding, turned into counts so that results repeat.",
)  # fmt: skip
@click.option("--documents", is_flag=True, help="Write every document of each holding.")
@click.option("--confidence", is_flag=True, help="Say how sure each plan is; takes longer.")
@click.option("--again", is_flag=True, help="Plan also what is finished and unchanged.")
@click.option(
    "--cluster",
    metavar="ADDRESS",
    help="Run on this dask scheduler, for instance tcp://host:8786.",
)
@json_option
def batch_command(
    given: Path,
    output: Path,
    holdings: str | None,
    holdings_layer: str | None,
    holding_field: str | None,
    sources: str | None,
    sources_layer: str | None,
    mobs: str | None,
    mobs_layer: str | None,
    as_json: bool,
    holding_seconds: float,
    search_seconds: float,
    **others: Any,
) -> int:
    """Plan many holdings, each by itself, and set them in tables and on a map.

    INPUT is a folder of project files, or one template project with --holdings.
    """
    from dewpond.batch import BatchOptions, plan_batch

    options = BatchOptions(
        holdings=_rows(holdings, holdings_layer, holding_field),
        sources=_sources(sources, sources_layer, holding_field),
        mobs=_rows(mobs, mobs_layer, holding_field),
        holding_s=holding_seconds,
        search_s=search_seconds,
        **others,
    )
    with _told(options) as progress:
        try:
            report = plan_batch(given, output, options, progress=progress)
        except KeyboardInterrupt:
            progress.stopped(output)
            return 130
    if as_json:
        click.echo((output / "batch.json").read_text(encoding="utf-8"), nl=False)
    _tell(report, output)
    return EXIT_MET if report.met else EXIT_SHORT


def _sources(path: str | None, layer: str | None, field: str | None) -> Rows | None:
    """Return the rows of all sources, with the field that names holdings if they have it."""
    from dewpond.batch.reading import has_field

    rows = _rows(path, layer, field)
    return rows if rows is None or has_field(rows) else replace(rows, field=None)


class _Progress:
    """Shows how far a batch is: a bar on a terminal, a line a minute elsewhere."""

    def __init__(self, bars: Any, shown: bool) -> None:
        self._bars, self._shown = bars, shown
        self._bar: Any = None
        self._began = self._told = time.monotonic()
        self._done = self._failed = self._stood = 0

    def __call__(self, whole: int, outcome: Outcome | None) -> None:
        if outcome is None:
            self._bar = self._bars.add_task("holdings", total=whole, rate="", failed="")
            self._began = self._told = time.monotonic()
            return
        self._done += 1
        self._failed += outcome.status == "failed"
        self._stood += outcome.stood
        rate = self._rate()
        failed = words("batch.told.failed", count=self._failed) if self._failed else ""
        self._bars.update(self._bar, advance=1, rate=rate, failed=failed)
        if not self._shown and time.monotonic() - self._told >= _LINE_EVERY_S:
            self._told = time.monotonic()
            said = words(
                "batch.told.so_far", done=self._done, whole=whole, rate=rate, failed=self._failed
            )
            click.echo(said, err=True)

    def _rate(self) -> str:
        minutes = (time.monotonic() - self._began) / 60
        planned = self._done - self._stood
        return (
            words("batch.told.rate", a_minute=planned / minutes) if minutes > 0 and planned else ""
        )

    def stopped(self, output: Path) -> None:
        """Say what is kept of a batch that was ended from the keyboard."""
        click.echo(words("batch.told.stopped", count=self._done, folder=str(output)), err=True)


@contextmanager
def _told(options: BatchOptions) -> Iterator[_Progress]:
    from rich.console import Console
    from rich.progress import (
        BarColumn,
        MofNCompleteColumn,
        Progress,
        TextColumn,
        TimeRemainingColumn,
    )

    console = Console(stderr=True)
    columns = (
        TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(),
        TextColumn("{task.fields[rate]}"), TimeRemainingColumn(),
        TextColumn("[red]{task.fields[failed]}"),
    )  # fmt: skip
    with Progress(*columns, console=console, disable=not console.is_terminal) as bars:
        yield _Progress(bars, console.is_terminal)


def words(key: str, **values: Any) -> str:
    """Return a sentence; what reads them is slow to import, and help needs none."""
    from dewpond.base.words import words as filled_in

    return filled_in(key, **values)


def _tell(report: BatchReport, output: Path) -> None:
    """Say on stderr what came of the holdings and where the results are."""
    for holding, reason in report.failures[:_SHOWN_FAILURES]:
        first, *more = reason.splitlines() or [""]
        said = words("batch.told.failure", holding=holding, reason=first, more=len(more))
        click.echo(said, err=True)
    left = len(report.failures) - _SHOWN_FAILURES
    if left > 0:
        click.echo(words("batch.told.more_failures", count=left), err=True)
    if report.gone:
        click.echo(words("batch.told.gone", count=len(report.gone)), err=True)
    if report.nameless:
        click.echo(words("batch.told.nameless", count=report.nameless), err=True)
    count = report.by_status
    click.echo(
        words("batch.told.outcome", holdings=report.holdings, met=count.get("met", 0),
            short=count.get("short", 0), failed=count.get("failed", 0), stood=report.stood,
        ),
        err=True,
    )  # fmt: skip
    click.echo(words("batch.told.results", folder=str(output)), err=True)
