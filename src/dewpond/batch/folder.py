"""The folder of a batch: its own, and of one run at a time."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from dewpond.base.errors import Fault, InputError, OutputError
from dewpond.batch.records import WORK

_MARK = "batch"


@contextmanager
def claimed(output: Path) -> Iterator[None]:
    """Hold the folder of a batch while this lasts.

    Raises
    ------
    InputError
        When it is a file, holds something else than an earlier batch, or another run holds it.
    OutputError
        When it cannot be made.
    """
    mark = output / WORK / _MARK
    if output.exists() and not output.is_dir():
        raise InputError([Fault(str(output), "is a file", expected="a folder for the results")])
    if output.is_dir() and any(output.iterdir()) and not mark.exists():
        raise InputError([
            Fault(
                str(output), "holds files that are no part of a batch",
                remedy="give another folder, or move them elsewhere",
            )
        ])  # fmt: skip
    try:
        mark.parent.mkdir(parents=True, exist_ok=True)
        handle = os.open(mark, os.O_RDWR | os.O_CREAT)
    except OSError as error:
        raise OutputError(f"{output}: cannot be made ({error.strerror or error})") from error
    try:
        _lock(handle, output)
        yield
    finally:
        os.close(handle)


def _lock(handle: int, output: Path) -> None:
    """Lock the mark where the system can: the lock goes with the process, however that ends."""
    with suppress(ImportError):
        import fcntl

        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise InputError([
                Fault(str(output), "is in use by another run", remedy="wait for it, or end it")
            ]) from error  # fmt: skip
