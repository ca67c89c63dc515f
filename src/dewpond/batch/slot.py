"""A place for holdings one at a time, in a process of its own that is replaced when it ends."""

from __future__ import annotations

import json
import os
import queue
import signal
import subprocess
import sys
import tempfile
import threading
import time
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

from dewpond.base.errors import DewpondError, OutputError
from dewpond.base.words import words
from dewpond.batch.options import BatchOptions
from dewpond.batch.records import Record, Store
from dewpond.batch.tasks import Task

_MEMORY_GONE = 75
_STARTS = 3
_START_S = 120.0
_HOLDINGS_A_PROCESS = 500
"""A process is replaced after so many, so that memory a library never gives back cannot grow."""
_LOG_BYTES = 64_000
_ONE_THREAD = (
    "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMEXPR_NUM_THREADS",
    "VECLIB_MAXIMUM_THREADS", "GDAL_NUM_THREADS", "ARROW_NUM_THREADS",
)  # fmt: skip
_RASTER_CACHE_MB = "64"
_OUT_OF_MEMORY = ("std::bad_alloc", "MemoryError", "Unable to allocate", "Cannot allocate memory")


@dataclass(frozen=True)
class Outcome:
    """What became of one holding, as far as the one who asked must know.

    Attributes
    ----------
    task : Task
    status : str
        "met", "short" or "failed".
    kind, reason : str
        Of a failure.
    stood : bool
        Whether the result stood there already.
    """

    task: Task
    status: str
    kind: str = ""
    reason: str = ""
    stood: bool = False


class StoppedError(DewpondError, RuntimeError):
    """The batch is over before the holding is."""


class WorkerError(DewpondError, RuntimeError):
    """A process that plans holdings could not be started."""


class Slot:
    """One process that plans holdings; `run` may be called again and again, by one thread."""

    def __init__(self, options: BatchOptions, output: Path) -> None:
        self._options, self._output = options, output
        self._process: subprocess.Popen[str] | None = None
        self._answers: queue.SimpleQueue[str | None] = queue.SimpleQueue()
        self._done = 0
        self._log: IO[bytes] | None = None
        self._logged = 0
        self._stopped = False

    def run(self, task: Task) -> Outcome:
        """Plan one holding; whatever it does to its process, this returns.

        Raises
        ------
        OutputError
            When the disk takes no more.
        StoppedError
            After `stop`.
        WorkerError
            When no process can be started.
        """
        if self._stopped:
            raise StoppedError(task.holding)
        self._ensure_started()
        place: tuple[float, float] | None = None
        self._logged = self._log_size()
        self._send(task.as_json())
        until = time.monotonic() + self._options.holding_s
        while True:
            answer = self._receive(until - time.monotonic())
            if "place" in answer:
                place = answer["place"]
                continue
            break
        self._done += 1
        if "no_room" in answer:
            raise OutputError(answer["no_room"])
        if "done" not in answer:
            if self._stopped:
                raise StoppedError(task.holding)
            return self._lost(task, answer, place)
        done = answer["done"]
        if self._done >= _HOLDINGS_A_PROCESS:
            self.close()
        return Outcome(task, done["status"], done["kind"], done["reason"], done["stood"])

    def stop(self) -> None:
        """End the process from another thread, in the middle of a holding if there is one."""
        self._stopped = True
        process = self._process
        if process is not None:
            process.kill()

    def close(self) -> None:
        """End the process."""
        process, self._process = self._process, None
        if process is None:
            return
        process.kill()
        process.wait()
        for stream in (process.stdin, process.stdout):
            if stream is not None:
                with suppress(OSError):
                    stream.close()
        if self._log is not None:
            self._log.close()

    @property
    def process_id(self) -> int | None:
        """Number of the process, None while there is none."""
        return None if self._process is None else self._process.pid

    def _ensure_started(self) -> None:
        if self._process is not None and self._process.poll() is None:
            return
        for _ in range(_STARTS):
            self.close()
            self._start()
            if "ready" in self._receive(_START_S):
                return
        told = self._log_text()[-600:].strip()
        self.close()
        raise WorkerError(f"no process that plans holdings could be started: {told}")

    def _start(self) -> None:
        self._log = tempfile.TemporaryFile()  # noqa: SIM115 - closed with the process
        self._logged = 0
        self._answers = queue.SimpleQueue()
        self._done = 0
        self._process = subprocess.Popen(
            [sys.executable, "-m", "dewpond.batch.worker"],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=self._log, text=True,
            encoding="utf-8", env=_environment(),
            # Ctrl-C is for the one who asked, who then ends this process.
            start_new_session=True,
        )  # fmt: skip
        threading.Thread(
            target=_listen, args=(self._process.stdout, self._answers), daemon=True
        ).start()
        order = {
            "options": self._options.as_json(),
            "output": str(self._output),
            "memory_mb": self._options.most_memory_mb,
        }
        self._send(order)

    def _send(self, value: dict[str, Any]) -> None:
        if self._process is None or self._process.stdin is None:
            return
        with suppress(OSError):  # a process that has ended says so by its answers
            self._process.stdin.write(json.dumps(value) + "\n")
            self._process.stdin.flush()

    def _receive(self, seconds: float) -> dict[str, Any]:
        """Return the next answer, or why there is none."""
        process = self._process
        if process is None:
            return {"code": None}
        try:
            line = self._answers.get(timeout=max(0.0, seconds))
        except queue.Empty:
            process.kill()
            process.wait()
            return {"late": True}
        if line is None:
            return {"code": process.wait()}
        answer: dict[str, Any] = json.loads(line)
        return answer

    def _lost(
        self, task: Task, answer: dict[str, Any], place: tuple[float, float] | None
    ) -> Outcome:
        """Put on record why a process ended, and leave the next holding a new one."""
        # Planning is imported by this process only when something was lost.
        from dewpond.batch.perform import failure

        told = self._log_text()
        kind, reason = self._why(answer, told)
        store = Store(self._output)
        with suppress(DewpondError, OSError):
            store.forget(task.folder)
        record: Record = failure(task, kind, reason, place)
        try:
            store.write(task.folder, record)
        except OSError as error:
            raise OutputError(f"{self._output}: {error.strerror or error}") from error
        store.log(task.folder, told)
        self.close()
        return Outcome(task, record.status, kind, reason)

    def _why(self, answer: dict[str, Any], told: str) -> tuple[str, str]:
        if "late" in answer:
            return "time", words("batch.reason.seconds", seconds=self._options.holding_s)
        code = answer["code"]
        memory = self._options.most_memory_mb
        if code == _MEMORY_GONE or any(sign in told for sign in _OUT_OF_MEMORY):
            return "memory", words("batch.reason.memory", megabytes=memory or 0)
        if code is not None and code < 0:
            number = -code
            name = signal.Signals(number).name if number in set(signal.Signals) else ""
            return "lost", words("batch.reason.signal", number=number, name=name)
        return "lost", words("batch.reason.exit", code=code)

    def _log_size(self) -> int:
        return 0 if self._log is None else os.fstat(self._log.fileno()).st_size

    def _log_text(self) -> str:
        """Return what the process has printed since its last holding began; it must have ended.

        The place in the file is shared with the process, so a live one would write elsewhere.
        """
        if self._log is None or self._log.closed:
            return ""
        self._log.seek(max(self._logged, self._log_size() - _LOG_BYTES))
        return self._log.read().decode("utf-8", "replace")


def _listen(stream: IO[str] | None, answers: queue.SimpleQueue[str | None]) -> None:
    if stream is not None:
        with suppress(ValueError, OSError):
            for line in stream:
                answers.put(line)
    answers.put(None)


def _environment() -> dict[str, str]:
    """Return the surroundings of a process: one thread, a small cache of raster blocks."""
    return {
        **os.environ,
        **dict.fromkeys(_ONE_THREAD, "1"),
        "GDAL_CACHEMAX": os.environ.get("GDAL_CACHEMAX", _RASTER_CACHE_MB),
        "PYTHONHASHSEED": "0",
    }
