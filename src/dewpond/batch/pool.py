"""Holdings planned on this machine, several at a time."""

from __future__ import annotations

import queue
import threading
from collections.abc import Generator, Iterable
from pathlib import Path

from dewpond.batch.options import BatchOptions
from dewpond.batch.slot import Outcome, Slot, StoppedError
from dewpond.batch.tasks import Task


def run_here(
    tasks: Iterable[Task], options: BatchOptions, output: Path
) -> Generator[Outcome, None, None]:
    """Plan holdings in processes of their own and give each outcome as it comes.

    A holding whose process ends is given as failed, and the process is replaced; the others do
    not notice. When this is closed or an error is raised, every process is ended.

    Raises
    ------
    OutputError
        When the disk takes no more.
    WorkerError
        When no process can be started.
    """
    waiting, lock = iter(tasks), threading.Lock()
    outcomes: queue.SimpleQueue[Outcome | BaseException | None] = queue.SimpleQueue()
    slots = [Slot(options, output) for _ in range(options.slots)]
    stop = threading.Event()

    def serve(slot: Slot) -> None:
        try:
            while not stop.is_set():
                with lock:
                    task = next(waiting, None)
                if task is None:
                    break
                outcome = slot.run(task)
                outcomes.put(outcome)
        except StoppedError:
            pass
        except BaseException as error:
            outcomes.put(error)
        slot.close()
        outcomes.put(None)

    threads = [threading.Thread(target=serve, args=(slot,), daemon=True) for slot in slots]
    for thread in threads:
        thread.start()
    try:
        left = len(threads)
        while left:
            outcome = outcomes.get()
            if isinstance(outcome, BaseException):
                raise outcome
            if outcome is None:
                left -= 1
            else:
                yield outcome
    finally:
        stop.set()
        for slot in slots:
            slot.stop()
        for thread in threads:
            thread.join(timeout=10)
