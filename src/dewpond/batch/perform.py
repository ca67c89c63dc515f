"""One holding from its rows or project file to its record, in whatever process this runs."""

from __future__ import annotations

import errno
import sys
import time
import traceback
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

from dewpond.base.errors import DewpondError, InputError, OutputError, SolverError
from dewpond.base.settings import without_confidence
from dewpond.base.words import words
from dewpond.batch.case import Case, read_case
from dewpond.batch.identity import identity
from dewpond.batch.options import BatchOptions
from dewpond.batch.records import FAILED, HOLDINGS, MET, SHORT, Record, Store
from dewpond.batch.tasks import Task
from dewpond.outputs import write_plan
from dewpond.outputs.layers import plan_layers
from dewpond.outputs.register import failed_rows, plan_rows
from dewpond.plan import plan_holding

Tell = Callable[[tuple[float, float] | None], None]

_FULL = {errno.ENOSPC, errno.EDQUOT, errno.EROFS}
_MOST_FAULTS = 6


class NoRoomError(OutputError):
    """The disk takes no more: no holding of the batch can be kept."""


def perform(task: Task, options: BatchOptions, output: Path, tell: Tell) -> tuple[Record, bool]:
    """Plan one holding, write its results and its record, or find them done already.

    Parameters
    ----------
    task : Task
    options : BatchOptions
    output : Path
        Folder of the batch.
    tell : callable
        Told where the holding lies as soon as that is known, for the case that this process ends.

    Returns
    -------
    Record, bool
        And whether it stood there already.

    Raises
    ------
    NoRoomError
        When the disk is full or cannot be written.
    """
    store, began = Store(output), time.perf_counter()
    place: tuple[float, float] | None = None
    key = ""
    try:
        case = read_case(task, options)
        place = case.place
        tell(place)
        key = identity(case, options)
        done = None if options.again else store.finished(task.folder, key)
        if done is not None:
            return done, True
        store.forget(task.folder)
        record = _planned(task, case, options, store, key)
    except Exception as error:
        record = _failed(task, error, place, key)
        _refuse_if_full(error)
        if record.kind == "internal":
            store.log(task.folder, "".join(traceback.format_exception(error)))
    seconds = time.perf_counter() - began
    record = replace(record, seconds=seconds, peak_memory_mb=peak_memory_mb())
    try:
        store.write(task.folder, record)
    except OSError as error:
        raise NoRoomError(f"{output}: {error.strerror or error}") from error
    return record, False


def failure(
    task: Task, kind: str, reason: str, place: tuple[float, float] | None = None, key: str = ""
) -> Record:
    """Return the record of a holding that could not be planned."""
    rows = failed_rows(task.holding, reason, place=place)
    return Record(task.holding, FAILED, key, rows, kind=kind)


def peak_memory_mb() -> float | None:
    """Return the most memory that this process has held [MB]; None where no one counts it."""
    # On Linux the count of `getrusage` begins with what the parent held when it started this.
    with suppress(OSError, StopIteration, IndexError, ValueError):
        lines = Path("/proc/self/status").read_text(encoding="ascii").splitlines()
        return int(next(line for line in lines if line.startswith("VmHWM:")).split()[1]) / 2**10
    try:
        import resource
    except ImportError:  # only POSIX systems have it
        return None
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / (2**20 if sys.platform == "darwin" else 2**10)


def _planned(task: Task, case: Case, options: BatchOptions, store: Store, key: str) -> Record:
    plan = plan_holding(without_confidence(case.project), paddocks=case.paddocks)
    folder = store.folder_of(task.folder)
    written = write_plan(plan, folder, documents=options.documents, timed=False)
    shown = f"{HOLDINGS}/{task.folder}"
    rows = plan_rows(plan, plan_layers(plan)["paddock"], task.holding, shown)
    sizes = {path.relative_to(folder).as_posix(): path.stat().st_size for path in written}
    return Record(task.holding, MET if plan.met else SHORT, key, rows, sizes)


def _failed(task: Task, error: Exception, place: tuple[float, float] | None, key: str) -> Record:
    """Return a failure with its kind."""
    if isinstance(error, InputError):
        faults = [str(fault) for fault in error.faults]
        more = len(faults) - _MOST_FAULTS
        told = faults[:_MOST_FAULTS]
        told += [words("batch.reason.more", count=more)] if more > 0 else []
        return failure(task, "input", "\n".join(told), place, key)
    if isinstance(error, MemoryError):
        return failure(task, "memory", "", place, key)
    if isinstance(error, DewpondError) and not isinstance(error, SolverError):
        kind = "output" if isinstance(error, OutputError) else "input"
        return failure(task, kind, str(error), place, key)
    reason = words("batch.reason.fault", kind=type(error).__name__, text=str(error)[:300])
    return failure(task, "internal", reason, place, key)


def _refuse_if_full(error: BaseException | None) -> None:
    """Raise where an error comes from a disk that takes no more: the next would meet it too."""
    cause: BaseException | None = error
    while cause is not None:
        full = isinstance(cause, OSError) and cause.errno in _FULL
        if full or (isinstance(error, OutputError) and _says_full(cause)):
            raise NoRoomError(str(error)) from error
        cause = cause.__cause__ or cause.__context__


def _says_full(error: BaseException) -> bool:
    """Say whether a library that gives no error number tells of a full disk."""
    text = str(error).lower()
    return "no space left" in text or "disk is full" in text or "disk full" in text
