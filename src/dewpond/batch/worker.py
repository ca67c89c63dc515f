"""The process that plans holdings, one after the other: ``python -m dewpond.batch.worker``.

It reads one JSON value a line on standard input, first the order, then tasks, and answers on the
standard output that it was started with; what libraries print goes to standard error. It ends when
its input ends, even in the middle of a holding: then whoever asked is gone.
"""

from __future__ import annotations

import contextlib
import faulthandler
import json
import os
import queue
import sys
import threading
from pathlib import Path
from typing import IO, Any

_MEMORY_GONE = 75
"""Exit code of a process that ran out of the memory it may use."""


def serve() -> None:
    """Answer tasks until the input ends."""
    answers = _private_output()
    faulthandler.enable()
    lines: queue.SimpleQueue[str] = queue.SimpleQueue()
    threading.Thread(target=_listen, args=(lines,), daemon=True).start()
    order = json.loads(lines.get())
    # Imported here, so that the order can be refused before anything heavy is read.
    from dewpond.base.digests import digests_kept_in
    from dewpond.batch.options import BatchOptions
    from dewpond.batch.records import WORK
    from dewpond.batch.tasks import Task

    options, output = BatchOptions.from_json(order["options"]), Path(order["output"])
    _import_all()
    _limit_memory(order["memory_mb"])
    kept = output / WORK / "digests"
    with contextlib.suppress(OSError):
        kept.mkdir(parents=True, exist_ok=True)
    with digests_kept_in(kept):
        _answer(answers, {"ready": True})
        while True:
            _one(Task.from_json(json.loads(lines.get())), options, output, answers)


def _one(task: Any, options: Any, output: Path, answers: IO[str]) -> None:
    from dewpond.batch.perform import NoRoomError, perform

    try:
        record, stood = perform(
            task, options, output, lambda place: _answer(answers, {"place": place})
        )
    except NoRoomError as error:
        _answer(answers, {"no_room": str(error)})
        return
    except MemoryError:
        os._exit(_MEMORY_GONE)
    if record.kind == "memory":
        # What is left of a process without memory is not to be trusted with the next holding.
        os._exit(_MEMORY_GONE)
    _answer(answers, {
        "done": {
            "status": record.status, "kind": record.kind, "stood": stood, "reason": record.reason,
            "seconds": record.seconds, "peak_memory_mb": record.peak_memory_mb,
        }
    })  # fmt: skip


def _private_output() -> IO[str]:
    """Keep standard output for answers and let everything else print to standard error."""
    kept = os.fdopen(os.dup(1), "w", encoding="utf-8", buffering=1)
    os.dup2(2, 1)
    return kept


def _listen(lines: queue.SimpleQueue[str]) -> None:
    for line in sys.stdin:
        lines.put(line)
    os._exit(0)


def _answer(answers: IO[str], value: dict[str, Any]) -> None:
    answers.write(json.dumps(value) + "\n")
    answers.flush()


def _import_all() -> None:
    """Import what planning needs before memory is counted and the clock of a holding runs."""
    import dewpond.batch.perform  # noqa: F401


def _limit_memory(megabytes: int | None) -> None:
    """Let no more data be held than a holding may use; only where the system can do that."""
    if megabytes is None:
        return
    try:
        import resource
    except ImportError:
        return
    # On Linux data alone, not the address space: libraries map far more than they ever touch.
    kind = resource.RLIMIT_DATA if sys.platform == "linux" else resource.RLIMIT_AS
    limit = megabytes * 2**20
    with contextlib.suppress(ValueError, OSError):
        resource.setrlimit(kind, (limit, limit))


if __name__ == "__main__":
    serve()
