"""The same holdings on a running dask scheduler; each worker there keeps processes as here.

Results and records go to the folder of the batch, which every worker must see under the same
path. What dask does again because a worker was lost finds the record of what was finished.
"""

from __future__ import annotations

import logging
import threading
import uuid
from collections.abc import Generator, Iterable
from contextlib import suppress
from pathlib import Path
from typing import Any, NamedTuple

from dewpond.base.errors import DewpondError, Fault, InputError
from dewpond.base.words import words
from dewpond.batch.options import BatchOptions
from dewpond.batch.records import Store
from dewpond.batch.slot import Outcome, Slot
from dewpond.batch.tasks import Task

_AHEAD = 3
"""Holdings handed out for each thread of the cluster, so that the scheduler holds few."""
_CONNECT_S = 20

_slots: dict[tuple[str, int], Slot] = {}
"""Of this process as a worker of a cluster: by batch and thread."""


class _Order(NamedTuple):
    """What every holding of a batch has in common, as values that a worker can be sent."""

    options: dict[str, Any]
    output: str
    run: str


class SchedulerLostError(DewpondError, RuntimeError):
    """The scheduler went away while holdings were planned; what is finished is kept."""


def run_on_cluster(
    tasks: Iterable[Task], options: BatchOptions, output: Path
) -> Generator[Outcome, None, None]:
    """Plan holdings on the workers of a scheduler and give each outcome as it comes.

    Raises
    ------
    InputError
        When dask is not installed, the scheduler does not answer or has no worker.
    OutputError
        When the shared folder takes no more.
    SchedulerLostError
        When the scheduler goes away.
    """
    client, distributed = _connected(str(options.cluster))
    # One scheduler may serve several batches, and forgets no key while it holds its result.
    order = _Order(options.as_json(), str(output), uuid.uuid4().hex)
    waiting = iter(tasks)
    running: dict[Any, Task] = {}
    try:
        threads = sum(client.nthreads().values())
        if not threads:
            raise InputError([Fault(
                str(options.cluster), "has no worker", remedy="start workers, then run again"
            )])  # fmt: skip
        done = distributed.as_completed(loop=client.loop)
        for task in waiting:
            _hand_out(client, task, order, running, done)
            if len(running) >= _AHEAD * threads:
                break
        for future in done:
            task = running.pop(future)
            yield _outcome(future, task, output)
            future.release()
            more = next(waiting, None)
            if more is not None:
                _hand_out(client, more, order, running, done)
    finally:
        with suppress(Exception):
            client.cancel(list(running))
            client.run(_release, order.run)
        client.close()


def _connected(address: str) -> tuple[Any, Any]:
    try:
        import distributed
    except ImportError as error:
        raise InputError([Fault(
            "--cluster", "needs dask.distributed, which is not installed",
            remedy="install dewpond[cluster]",
        )]) from error  # fmt: skip
    # What it logs of a lost scheduler, with tracebacks, is told here in one line.
    logging.getLogger("distributed").setLevel(logging.CRITICAL)
    try:
        connect: Any = distributed.Client
        client = connect(address, timeout=_CONNECT_S, set_as_default=False)
    except (OSError, TimeoutError, ValueError) as error:
        raise InputError([Fault(
            "--cluster", f"no scheduler answers at {address}", found=str(error)[:160],
            expected="for instance tcp://10.0.0.1:8786",
        )]) from error  # fmt: skip
    return client, distributed


def _hand_out(client: Any, task: Task, order: _Order, running: dict[Any, Task], done: Any) -> None:
    key = f"dewpond-{order.run}-{task.folder}"
    future = client.submit(_on_worker, task.as_json(), tuple(order), key=key)
    running[future] = task
    done.add(future)


def _outcome(future: Any, task: Task, output: Path) -> Outcome:
    """Return what came of a holding; one whose workers were lost again and again has failed."""
    if future.cancelled():
        raise SchedulerLostError(words("batch.told.scheduler_lost", folder=str(output)))
    error = future.exception()
    if error is None:
        values = future.result()
        return Outcome(task, **values)
    if type(error).__name__ != "KilledWorker":
        raise error
    from dewpond.batch.perform import failure

    reason = words("batch.reason.lost")
    record = failure(task, "lost", reason)
    Store(output).write(task.folder, record)
    return Outcome(task, record.status, "lost", reason)


def _on_worker(task: dict[str, Any], order: tuple[dict[str, Any], str, str]) -> dict[str, Any]:
    """Plan one holding in a process that this thread of a worker keeps for the batch."""
    options, output, run = order
    key = (run, threading.get_ident())
    if key not in _slots:
        _slots[key] = Slot(BatchOptions.from_json(options), Path(output))
    outcome = _slots[key].run(Task.from_json(task))
    return {
        "status": outcome.status, "kind": outcome.kind, "reason": outcome.reason,
        "stood": outcome.stood,
    }  # fmt: skip


def _release(run: str) -> None:
    """End the processes that a worker keeps for a batch that is over."""
    for key in [key for key in _slots if key[0] == run]:
        _slots.pop(key).stop()
