"""What a batch does when something dies: only that holding is lost, and a second run mends it."""

from __future__ import annotations

import os
import re
import resource
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import psutil
import pytest
import rasterio
from rasterio.windows import Window

from batch import synthetic
from batch.results import EATEN_BYTES, HOLDINGS, MEMORY_MB, by_holding, tree
from dewpond.base.errors import OutputError
from dewpond.batch import BatchOptions, BatchReport, plan_batch

Run = Callable[..., BatchReport]
COMMAND = [sys.executable, "-m", "dewpond", "batch"]


@pytest.fixture
def mine(made: Path, tmp_path: Path) -> Path:
    """Return a copy of the holdings that a test may change."""
    return Path(shutil.copytree(made, tmp_path / "given"))


def add(folder: Path, name: str, table: str) -> None:
    """Add a holding like the first, with one more table of settings."""
    text = (folder / "holding-00000.toml").read_text()
    (folder / f"{name}.toml").write_text(f"{text}\n{table}\n")


def workers() -> list[psutil.Process]:
    return [child for child in psutil.Process().children() if "dewpond.batch" in _line(child)]


def _line(process: psutil.Process) -> str:
    try:
        return " ".join(process.cmdline())
    except psutil.NoSuchProcess:
        return ""


@pytest.mark.parametrize(
    "number", [signal.SIGKILL, pytest.param(signal.SIGSEGV, marks=pytest.mark.slow)]
)
def test_a_worker_that_is_killed_costs_one_holding(
    number: int, made: Path, undisturbed: dict[str, str], run: Run, tmp_path: Path
) -> None:
    struck: list[int] = []

    def strike(whole: int, outcome: object) -> None:
        if outcome is not None and not struck:
            [worker] = workers()
            # It has taken the next holding once it has used more time than before.
            before = sum(worker.cpu_times()[:2])
            while sum(worker.cpu_times()[:2]) < before + 0.05:
                time.sleep(0.005)
            worker.send_signal(number)
            struck.append(worker.pid)

    report = plan_batch(made, tmp_path / "out", BatchOptions(processes=1), progress=strike)
    assert report.by_status["failed"] == 1
    [(holding, reason)] = report.failures
    name = signal.Signals(number).name
    assert f"ended by signal {int(number)} ({name})" in reason
    rows = by_holding(tmp_path / "out")
    assert rows[holding]["status"] == "failed"
    assert rows[holding]["reason"] == reason
    assert all(row["status"] != "failed" for name, row in rows.items() if name != holding)
    assert not (tmp_path / "out" / "holdings" / holding).exists()

    assert run(made, tmp_path / "out", processes=1).stood == HOLDINGS - 1
    assert tree(tmp_path / "out") == undisturbed


def test_a_run_that_is_killed_goes_on(
    made: Path, undisturbed: dict[str, str], run: Run, tmp_path: Path
) -> None:
    output = tmp_path / "out"
    killed = subprocess.Popen([*COMMAND, made, "-o", output, "--processes", "1"])
    _wait_for_records(output, 2)
    children = psutil.Process(killed.pid).children()
    killed.kill()
    killed.wait()
    # A worker whose master is gone ends by itself, in the middle of a holding.
    psutil.wait_procs(children, timeout=20)
    assert not any(child.is_running() for child in children)
    assert not (output / "holdings.csv").exists()
    report = run(made, output, processes=1)
    assert 2 <= report.stood < HOLDINGS
    assert tree(output) == undisturbed


@pytest.mark.slow
def test_ctrl_c_keeps_what_is_finished(
    made: Path, undisturbed: dict[str, str], run: Run, tmp_path: Path
) -> None:
    output = tmp_path / "out"
    stopped = subprocess.Popen(
        [*COMMAND, made, "-o", output, "--processes", "1"], stderr=subprocess.PIPE, text=True,
        # A shell that runs the tests in the background has them ignore Ctrl-C.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )  # fmt: skip
    _wait_for_records(output, 1)
    children = psutil.Process(stopped.pid).children()
    stopped.send_signal(signal.SIGINT)
    _, told = stopped.communicate(timeout=30)
    assert stopped.returncode == 130
    assert "the same command goes on from there" in told
    assert "Traceback" not in told
    psutil.wait_procs(children, timeout=20)
    assert not any(child.is_running() for child in children)
    assert not list((output / "holdings").glob(".*"))
    report = run(made, output, processes=1)
    assert 1 <= report.stood < HOLDINGS
    assert report.by_status.get("failed", 0) == 0
    assert tree(output) == undisturbed


def _wait_for_records(output: Path, count: int) -> None:
    until = time.monotonic() + 120
    while len(list((output / "work" / "records").glob("[!.]*.json"))) < count:
        assert time.monotonic() < until, "the run did not begin"
        time.sleep(0.01)


@pytest.mark.skipif(sys.platform != "linux", reason="memory is limited on Linux only")
def test_a_holding_that_eats_memory_costs_only_itself(
    mine: Path, undisturbed: dict[str, str], run: Run, tmp_path: Path
) -> None:
    add(mine, "eater", f"# {'x' * EATEN_BYTES}")
    report = run(mine, tmp_path / "out", processes=1, memory_mb=MEMORY_MB)
    assert report.failures == (
        ("eater", f"it needed more memory than the {MEMORY_MB} MB that a holding may use"),
    )
    (mine / "eater.toml").unlink()
    assert run(mine, tmp_path / "out", processes=1).stood == HOLDINGS
    assert tree(tmp_path / "out") == undisturbed


@pytest.mark.slow
def test_a_holding_that_takes_too_long_costs_only_itself(
    mine: Path, undisturbed: dict[str, str], run: Run, tmp_path: Path
) -> None:
    # Longer than any small holding takes on a busy machine, much shorter than this one takes.
    search = "optimality_gap = 0.0\nrestarts = 1000000\ntime_limit_s = 100000.0"
    add(mine, "dawdler", f"[layout]\n{search}")
    report = run(mine, tmp_path / "out", processes=1, holding_s=20.0)
    [(holding, reason)] = report.failures
    assert holding == "dawdler"
    assert "took longer than the 20 s" in reason
    own = {name: digest for name, digest in undisturbed.items() if name.startswith("holdings/")}
    assert {n: d for n, d in tree(tmp_path / "out").items() if n in own} == own


class TestFullDisk:
    @pytest.fixture
    def small_disk(self, tmp_path: Path) -> Iterator[Path]:
        """Mount a disk that takes two or three holdings."""
        disk = tmp_path / "disk"
        disk.mkdir()
        mount = ["mount", "-t", "tmpfs", "-o", "size=56k", "tmpfs", str(disk)]
        try:
            done = subprocess.run(mount, capture_output=True, text=True, check=False)
        except OSError as error:
            pytest.skip(f"no disk can be mounted here: {error}")
        if done.returncode:
            pytest.skip(f"no disk can be mounted here: {done.stderr.strip()}")
        yield disk
        subprocess.run(["umount", str(disk)], check=True)

    def test_a_full_disk_ends_the_run_and_loses_nothing(
        self, made: Path, undisturbed: dict[str, str], run: Run, small_disk: Path
    ) -> None:
        output = small_disk / "out"
        with pytest.raises(OutputError, match=r"(?i)no space left|full"):
            run(made, output, processes=1)
        assert not (output / "holdings.csv").exists()
        finished = [path.stem for path in (output / "work" / "records").glob("[!.]*.json")]
        assert 0 < len(finished) < HOLDINGS
        for name in finished:
            assert (output / "holdings" / name / "summary.json").is_file()
        subprocess.run(["mount", "-o", "remount,size=64m", str(small_disk)], check=True)
        assert run(made, output, processes=1).stood == len(finished)
        assert tree(output) == undisturbed

    @pytest.mark.slow
    def test_files_that_cannot_grow_are_a_reason(
        self, made: Path, undisturbed: dict[str, str], run: Run, tmp_path: Path
    ) -> None:
        output = tmp_path / "out"
        limit = 6_000

        def little() -> None:
            resource.setrlimit(resource.RLIMIT_FSIZE, (limit, resource.RLIM_INFINITY))

        done = subprocess.run(
            [*COMMAND, made, "-o", output, "--processes", "1"],
            preexec_fn=little, capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert done.returncode == 2
        assert re.search(r"File too large|could not be written", done.stderr)
        assert not (output / "holdings.csv").exists()
        run(made, output, processes=1)
        assert tree(output) == undisturbed


@pytest.mark.slow
def test_a_tile_cut_short_costs_the_holdings_on_it(run: Run, tmp_path: Path) -> None:
    mine = synthetic.write_folder(tmp_path / "given", 9)
    for path in sorted(mine.glob("*.toml"))[3:]:
        path.unlink()
    as_tiles(mine)
    for path in mine.glob("*.toml"):
        path.write_text(path.read_text().replace("terrain.tif", "terrain.vrt"))
    run(mine, tmp_path / "undisturbed", processes=1)
    whole = (mine / "east.tif").read_bytes()
    (mine / "east.tif").write_bytes(whole[: len(whole) // 2])
    report = run(mine, tmp_path / "out", processes=1)
    reasons = dict(report.failures)
    assert set(reasons) == {"holding-00002"}
    assert "cannot be read to the end" in reasons["holding-00002"]
    (mine / "east.tif").write_bytes(whole)
    assert run(mine, tmp_path / "out", processes=1).by_status.get("failed", 0) == 0
    assert tree(tmp_path / "out") == tree(tmp_path / "undisturbed")


def as_tiles(folder: Path) -> None:
    """Part the raster in two between its second and third column of holdings, under one VRT."""
    with rasterio.open(folder / "terrain.tif") as data:
        values, profile = data.read(1), data.profile
        edge = round((1.9 * synthetic.PITCH_M + synthetic.MARGIN_M) / synthetic.POSTING_M)
        parts = {"west": (0, edge), "east": (edge, data.width)}
        sources = ""
        for name, (left, right) in parts.items():
            transform = data.window_transform(Window(left, 0, right - left, data.height))
            own = {**profile, "width": right - left, "transform": transform, "compress": None}
            own = {key: value for key, value in own.items() if value is not None}
            with rasterio.open(folder / f"{name}.tif", "w", **own) as tile:
                tile.write(np.ascontiguousarray(values[:, left:right]), 1)
            box = f'yOff="0" xSize="{right - left}" ySize="{data.height}"'
            sources += (
                f'<SimpleSource><SourceFilename relativeToVRT="1">{name}.tif</SourceFilename>'
                f'<SourceBand>1</SourceBand><SrcRect xOff="0" {box}/>'
                f'<DstRect xOff="{left}" {box}/></SimpleSource>'
            )
        step = ", ".join(repr(float(value)) for value in data.transform.to_gdal())
        (folder / "terrain.vrt").write_text(
            f'<VRTDataset rasterXSize="{data.width}" rasterYSize="{data.height}">'
            f"<SRS>{synthetic.CRS}</SRS><GeoTransform>{step}</GeoTransform>"
            f'<VRTRasterBand dataType="Float32" band="1"><UnitType>metre</UnitType>{sources}'
            "</VRTRasterBand></VRTDataset>"
        )


def test_processes_that_cannot_start_are_told_once(made: Path, tmp_path: Path) -> None:
    environment = {**os.environ, "PYTHONPATH": str(tmp_path)}
    (tmp_path / "scipy.py").write_text("raise ImportError('broken on purpose')")
    done = subprocess.run(
        [*COMMAND, made, "-o", tmp_path / "out", "--processes", "1"],
        env=environment, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 3
    assert "broken on purpose" in done.stderr
