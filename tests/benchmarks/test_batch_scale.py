"""How a batch grows: holdings a minute, memory, two processes against one, few and thousands.

    export DEWPOND_BATCH_HOLDINGS=200
    python -m pytest -m benchmark -s tests/benchmarks/test_batch_scale.py

The number of holdings is 2,000 where the variable is not set. A quiet machine gives figures that
mean something; the shares of waiting and of work are told so that a busy one can be recognised.
"""

from __future__ import annotations

import csv
import math
import os
import subprocess
import sys
import threading
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import psutil
import pytest

from batch import synthetic
from batch.results import tree

pytestmark = pytest.mark.benchmark
WHOLE = int(os.environ.get("DEWPOND_BATCH_HOLDINGS", "2000"))
FEW = max(4, WHOLE // 20)
FIELDS = {"least": 1, "most": 4}
"""One to sixteen fields a holding, six and a quarter on average."""


@dataclass(frozen=True)
class Measured:
    """One run: wall and processor seconds, most memory [MB] of all processes, of the largest."""

    holdings: int
    processes: int
    wall_s: float
    start_s: float
    processor_s: float
    peak_mb: float
    largest_mb: float
    master_mb: float

    @property
    def a_minute(self) -> float:
        # Of the first, one in each process, part of the time is that of starting.
        return 60 * (self.holdings - self.processes) / (self.wall_s - self.start_s)


class Watch:
    """Samples what a process and its children hold and use, five times a second."""

    def __init__(self, process_id: int, records: Path) -> None:
        self.peak_mb = self.largest_mb = self.master_mb = 0.0
        self.first: float | None = None
        self.used: dict[int, float] = {}
        self._master, self._records = psutil.Process(process_id), records
        self._end = threading.Event()
        self._thread = threading.Thread(target=self._sample, daemon=True)

    def _sample(self) -> None:
        while not self._end.wait(0.2):
            if self.first is None and any(self._records.glob("*.json")):
                self.first = time.monotonic()
            try:
                held = [self._look_at(process) for process in self._master.children()]
                self.master_mb = max(self.master_mb, master := self._look_at(self._master))
            except psutil.NoSuchProcess:
                continue
            self.peak_mb = max(self.peak_mb, master + sum(held))
            self.largest_mb = max(self.largest_mb, *held, 0.0)

    def _look_at(self, process: psutil.Process) -> float:
        """Note the processor time [s] that a process has used; return what it holds [MB]."""
        try:
            self.used[process.pid] = sum(process.cpu_times()[:2])
            return float(process.memory_info().rss) / 2**20
        except psutil.NoSuchProcess:
            return 0.0

    def __enter__(self) -> Watch:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._end.set()
        self._thread.join()


def run(given: Path, output: Path, processes: int) -> subprocess.Popen[bytes]:
    """Start the command, so that the memory of the master is that of a batch alone."""
    command = [sys.executable, "-m", "dewpond", "batch", str(given), "-o", str(output)]
    return subprocess.Popen([*command, "--processes", str(processes)], stderr=subprocess.PIPE)


def measure(given: Path, output: Path, processes: int) -> Measured:
    began = time.monotonic()
    with (
        run(given, output, processes) as master,
        Watch(master.pid, output / "work" / "records") as watch,
    ):
        _, told = master.communicate()
    wall = time.monotonic() - began
    with (output / "holdings.csv").open(encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    assert all(row["status"] != "failed" for row in rows), told.decode()
    assert watch.first is not None
    found = Measured(
        len(rows), processes, wall, watch.first - began, sum(watch.used.values()),
        watch.peak_mb, watch.largest_mb, watch.master_mb,
    )  # fmt: skip
    print(
        f"{found.holdings:>6,} holdings, {processes} processes: {wall:7.1f} s wall, "
        f"{found.start_s:.1f} s to the first, {found.a_minute:6.1f} a minute, "
        f"{found.processor_s:7.1f} s of processors "
        f"({found.processor_s / found.holdings:.2f} each), "
        f"peak {found.peak_mb:,.0f} MB in all, {found.largest_mb:,.0f} MB the largest process, "
        f"{found.master_mb:,.0f} MB the master"
    )
    return found


@pytest.fixture(scope="module")
def places(tmp_path_factory: pytest.TempPathFactory) -> dict[int, Path]:
    middle = round(math.sqrt(FEW * WHOLE))
    return {
        count: synthetic.write_folder(tmp_path_factory.mktemp(f"of_{count}"), count, **FIELDS)
        for count in sorted({FEW, middle, WHOLE})
    }


def test_holdings_a_minute_and_growth(places: dict[int, Path], tmp_path: Path) -> None:
    """Growth exponent over counts 1 : 4.5 : 20, aim at most 1.05; memory must not grow."""
    print(f"\nload before: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    runs = [measure(given, tmp_path / str(count), 2) for count, given in places.items()]
    counts = np.log([run.holdings for run in runs])
    wall = np.polyfit(counts, np.log([run.wall_s - run.start_s for run in runs]), 1)[0]
    work = np.polyfit(counts, np.log([run.processor_s for run in runs]), 1)[0]
    print(f"growth exponent {wall:.3f} of wall time, {work:.3f} of processor time")
    with (tmp_path / str(WHOLE) / "timings.csv").open() as stream:
        seconds = [float(row["seconds"]) for row in csv.DictReader(stream)]
    print(
        f"seconds a holding: median {np.median(seconds):.2f}, "
        f"95 % {np.quantile(seconds, 0.95):.2f}, longest {max(seconds):.2f}"
    )
    began = time.monotonic()
    with run(places[WHOLE], tmp_path / str(WHOLE), 2) as again:
        _, told = again.communicate()
    print(f"all found done again in {time.monotonic() - began:.1f} s")
    assert f"{WHOLE:,} stood already" in told.decode()
    assert runs[-1].largest_mb < runs[0].largest_mb + 200


def test_two_processes_against_one(places: dict[int, Path], tmp_path: Path) -> None:
    """Aim at least 1.8 times as many a minute, on a quiet machine with two cores or more."""
    given = places[sorted(places)[1]]
    print(f"\nload before: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    one, two = (measure(given, tmp_path / str(count), count) for count in (1, 2))
    print(f"two processes plan {two.a_minute / one.a_minute:.2f} times as many a minute as one")
    assert tree(tmp_path / "1") == tree(tmp_path / "2")
