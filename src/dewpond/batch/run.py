"""A whole batch on one screen: find the holdings, plan those not done, set the tables together."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Generator, Sequence
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from dewpond.batch.assemble import assemble
from dewpond.batch.cluster import run_on_cluster
from dewpond.batch.folder import claimed
from dewpond.batch.options import BatchOptions
from dewpond.batch.pool import run_here
from dewpond.batch.reading import readable_by_id
from dewpond.batch.records import FAILED, MET, WORK, Store
from dewpond.batch.slot import Outcome
from dewpond.batch.tasks import Found, Task, find_tasks, refuse_faults

Progress = Callable[[int, Outcome | None], None]
"""Called with the number of holdings in all, first with None, then with each outcome."""


@dataclass(frozen=True)
class BatchReport:
    """What came of a batch.

    Attributes
    ----------
    holdings : int
    by_status : mapping of str to int
        How many are "met", "short" and "failed".
    stood : int
        How many were found done by an earlier run.
    failures : tuple of (str, str)
        Holding and reason, in order of the holdings.
    gone : tuple of str
        Holdings that an earlier run planned and that are no longer asked for.
    nameless : int
        Rows of the file of all fields that name no holding, left out.
    files : tuple of Path
        The tables and the map.
    """

    holdings: int
    by_status: dict[str, int]
    stood: int
    failures: tuple[tuple[str, str], ...]
    gone: tuple[str, ...]
    nameless: int
    files: tuple[Path, ...]

    @property
    def met(self) -> bool:
        """Whether every holding is planned and every requirement met."""
        return self.by_status.get(MET, 0) == self.holdings


def plan_batch(
    given: str | Path,
    output: str | Path,
    options: BatchOptions | None = None,
    *,
    progress: Progress | None = None,
) -> BatchReport:
    """Plan many holdings, each by itself, and write tables of all.

    A holding that fails, whatever it does to the process that plans it, is named with its reason
    and costs no other. What an earlier run into the same folder finished is not planned again
    while everything that it depends on is unchanged.

    Parameters
    ----------
    given : str or Path
        A folder of project files, or with ``options.holdings`` a template project.
    output : str or Path
        Folder of the batch: new, empty, or of an earlier run of a batch.
    options : BatchOptions, optional
    progress : callable, optional

    Returns
    -------
    BatchReport

    Raises
    ------
    InputError
        When there are no holdings, or the folder will not do.
    OutputError
        When the disk takes no more; what is finished is kept.
    """
    options, output = options or BatchOptions(), Path(output)
    tell = progress or (lambda number, outcome: None)
    refuse_faults(Path(given), options)
    with claimed(output):
        options = _with_rows_by_id(options, output)
        found = find_tasks(Path(given), output, options)
        tasks = found.tasks
        Store(output).tidy()
        tell(len(tasks), None)
        outcomes = []
        with closing(_run(tasks, options, output)) as running:
            for outcome in running:
                outcomes.append(_small(outcome))
                tell(len(tasks), outcome)
        files = assemble(tasks, output)
        return _report(found, outcomes, output, files)


def _run(
    tasks: Sequence[Task], options: BatchOptions, output: Path
) -> Generator[Outcome, None, None]:
    run = run_here if options.cluster is None else run_on_cluster
    return run(tasks, options, output.resolve())


def _with_rows_by_id(options: BatchOptions, output: Path) -> BatchOptions:
    folder = output / WORK / "rows"
    changed: dict[str, Any] = {
        name: readable_by_id(rows, folder)
        for name, rows in (
            ("holdings", options.holdings), ("sources", options.sources), ("mobs", options.mobs),
        )
        if rows is not None
    }  # fmt: skip
    return replace(options, **changed)


def _small(outcome: Outcome) -> Outcome:
    """Let go of the rows of a holding once it is done."""
    return replace(outcome, task=replace(outcome.task, fields=(), sources=(), mobs=()))


def _report(
    found: Found, outcomes: Sequence[Outcome], output: Path, files: Sequence[Path]
) -> BatchReport:
    failures = sorted(
        (outcome.task.holding, outcome.reason) for outcome in outcomes if outcome.status == FAILED
    )
    return BatchReport(
        len(found.tasks),
        dict(Counter(outcome.status for outcome in outcomes)),
        sum(outcome.stood for outcome in outcomes),
        tuple(failures),
        Store(output).others({task.folder for task in found.tasks}),
        found.nameless,
        tuple(files),
    )
