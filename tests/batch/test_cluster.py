"""The same batch on a real scheduler with workers in processes of their own, over TCP."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from batch import synthetic
from batch.results import EATEN_BYTES, by_holding, tree
from dewpond.base.errors import InputError
from dewpond.batch import BatchOptions, BatchReport, plan_batch
from dewpond.batch.cluster import SchedulerLostError

pytestmark = [
    pytest.mark.slow,
    # What dask leaves open when workers are killed is its own affair.
    pytest.mark.filterwarnings("ignore::ResourceWarning"),
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),
    pytest.mark.filterwarnings("ignore:Port .* is already in use:UserWarning"),
]
Run = Callable[..., BatchReport]
COUNT = 12


@pytest.fixture
def cluster() -> Iterator[object]:
    """Start a scheduler and two workers, each with one thread, on the loopback."""
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, protocol="tcp", host="127.0.0.1",
        dashboard_address=None,
    ) as running:  # fmt: skip
        yield running


@pytest.fixture(scope="module")
def many(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return synthetic.write_folder(tmp_path_factory.mktemp("many"), COUNT)


def test_a_worker_lost_in_mid_run_loses_nothing_and_repeats_nothing(
    cluster: object, many: Path, run: Run, tmp_path: Path
) -> None:
    run(many, tmp_path / "here", processes=2)
    address = cluster.scheduler_address
    pids = {worker.pid for worker in cluster.workers.values()}
    assert len(pids) == 2
    seen: list[str] = []

    def strike(whole: int, outcome: object) -> None:
        if outcome is None:
            return
        seen.append(outcome.task.holding)
        if len(seen) == 3:
            os.kill(pids.pop(), signal.SIGKILL)

    options = BatchOptions(cluster=address)
    report = plan_batch(many, tmp_path / "there", options, progress=strike)
    assert report.by_status.get("failed", 0) == 0
    assert sorted(seen) == sorted(set(seen))
    assert len(seen) == len(by_holding(tmp_path / "there")) == COUNT
    assert tree(tmp_path / "there") == tree(tmp_path / "here")

    again = plan_batch(many, tmp_path / "there", options)
    assert again.stood == COUNT
    assert tree(tmp_path / "there") == tree(tmp_path / "here")


def test_a_scheduler_lost_in_mid_run_is_told_and_what_is_finished_stands(
    many: Path, run: Run, tmp_path: Path
) -> None:
    distributed = pytest.importorskip("distributed")
    output = tmp_path / "out"
    place = tmp_path / "scheduler.json"
    alone = ["--no-dashboard", "--host", "127.0.0.1"]
    scheduler = _dask("scheduler", *alone, "--port", "0", "--scheduler-file", str(place))
    worker = None

    def strike(whole: int, outcome: object) -> None:
        if outcome is not None:
            scheduler.kill()

    try:
        address = _address(place)
        worker = _dask("worker", *alone, "--nthreads", "1", address)
        with distributed.Client(address) as client:
            client.wait_for_workers(1, timeout=60)
        with pytest.raises(SchedulerLostError, match="the same command goes on"):
            plan_batch(many, output, BatchOptions(cluster=address), progress=strike)
    finally:
        for process in filter(None, (worker, scheduler)):
            process.kill()
            process.wait()
    report = run(many, output, processes=2)
    assert 1 <= report.stood < COUNT
    run(many, tmp_path / "here", processes=2)
    assert tree(output) == tree(tmp_path / "here")


def _dask(role: str, *arguments: str) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-m", f"distributed.cli.dask_{role}", *arguments]
    return subprocess.Popen(command, stderr=subprocess.DEVNULL)


def _address(place: Path) -> str:
    until = time.monotonic() + 60
    while not place.exists() or not place.read_text():
        assert time.monotonic() < until, "the scheduler did not start"
        time.sleep(0.1)
    return str(json.loads(place.read_text())["address"])


def test_a_holding_that_eats_memory_costs_only_itself_on_a_cluster_too(
    cluster: object, many: Path, tmp_path: Path
) -> None:
    given = tmp_path / "given"
    given.mkdir()
    for name in ("terrain.tif", "holding-00000.toml", "holding-00000.geojson"):
        (given / name).write_bytes((many / name).read_bytes())
    text = (given / "holding-00000.toml").read_text()
    (given / "eater.toml").write_text(f"{text}\n# {'x' * EATEN_BYTES}\n")
    options = BatchOptions(cluster=cluster.scheduler_address, memory_mb=700)
    report = plan_batch(given, tmp_path / "out", options)
    assert [holding for holding, _ in report.failures] == ["eater"]
    assert "more memory" in report.failures[0][1]


def test_processes_on_the_cluster_end_with_the_batch(
    cluster: object, many: Path, tmp_path: Path
) -> None:
    import psutil

    plan_batch(many, tmp_path / "out", BatchOptions(cluster=cluster.scheduler_address))

    def left() -> list[psutil.Process]:
        return [
            child
            for worker in cluster.workers.values()
            for child in psutil.Process(worker.pid).children(recursive=True)
            if child.status() != psutil.STATUS_ZOMBIE and "dewpond.batch.worker" in child.cmdline()
        ]

    until = time.monotonic() + 10
    while left() and time.monotonic() < until:
        time.sleep(0.1)
    assert left() == []


def test_no_scheduler_is_a_fault_of_the_input(
    many: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("dewpond.batch.cluster._CONNECT_S", 2)
    with pytest.raises(InputError, match="no scheduler answers"):
        plan_batch(many, tmp_path / "out", BatchOptions(cluster="tcp://127.0.0.1:9"))
