"""A raster far larger than a holding costs no memory: only the window of the holding is read."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import rasterio
from rasterio.transform import from_origin
from rasterio.windows import Window

from batch import synthetic
from batch.results import table
from dewpond.batch import BatchOptions, plan_batch

SIDE = 30_000
POSTING_M = 2.0

PLAN = """
import json, resource, sys
from dewpond import load_project, plan_holding
plan = plan_holding(load_project(sys.argv[1]))
rows, columns = plan.holding.surface.layers[0].values.shape
print(json.dumps({
    "peak_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
    "cells": rows * columns,
    "level_m": float(plan.network.nodes["ground_level_m"].iloc[0]),
}))
"""


def write_large(path: Path, west: float, north: float, **layout: object) -> None:
    """Write 900 million cells, most of them never filled, with ground at the holding."""
    with rasterio.open(
        path, "w", driver="GTiff", width=SIDE, height=SIDE, count=1, dtype="float32",
        crs=synthetic.CRS, transform=from_origin(west, north, POSTING_M, POSTING_M),
        compress="deflate", sparse_ok=True, nodata=-9999.0, bigtiff="yes", **layout,
    ) as data:  # fmt: skip
        data.units = ("metre",)
        column = int((synthetic.WEST - 600 - west) / POSTING_M)
        row = int((north - synthetic.SOUTH - 1_400) / POSTING_M)
        count = int(2_000 / POSTING_M)
        x = west + POSTING_M * (column + np.arange(count) + 0.5)
        y = north - POSTING_M * (row + np.arange(count) + 0.5)
        ground = synthetic.height_m(*np.meshgrid(x, y)).astype("float32")
        data.write(ground, 1, window=Window(column, row, count, count))


def measured(project: Path) -> dict[str, float]:
    done = subprocess.run(
        [sys.executable, "-c", PLAN, str(project)],
        capture_output=True, text=True, check=True,
        env={"OMP_NUM_THREADS": "1", "GDAL_CACHEMAX": "64", "PATH": "/usr/bin:/bin", **_path()},
    )  # fmt: skip
    return dict(json.loads(done.stdout))


def _path() -> dict[str, str]:
    import os

    return {name: os.environ[name] for name in ("PYTHONPATH",) if name in os.environ}


@pytest.mark.slow
@pytest.mark.parametrize(
    "layout", [{"tiled": True, "blockxsize": 512, "blockysize": 512}, {}], ids=["tiles", "strips"]
)
def test_900_million_cells_cost_no_more_than_their_window(
    layout: dict[str, object], tmp_path: Path
) -> None:
    """3.6 GB of heights if it were read whole; in all within 60 MB of a small raster's plan."""
    synthetic.write_folder(tmp_path / "given", 1)
    project = tmp_path / "given" / "holding-00000.toml"
    text = project.read_text()
    west, north = synthetic.WEST - 20_000.0, synthetic.SOUTH + 20_000.0
    write_large(tmp_path / "given" / "large.tif", west, north, **layout)
    synthetic.write_elevation(tmp_path / "given" / "small.tif", 1, 1, posting_m=POSTING_M)
    found = {}
    for name in ("small", "large"):
        project.write_text(text.replace("terrain.tif", f"{name}.tif"))
        found[name] = measured(project)
    size_mb = (tmp_path / "given" / "large.tif").stat().st_size / 2**20
    print(
        f"window of {found['large']['cells']:,.0f} cells of {SIDE**2:,}; peak memory "
        f"{found['large']['peak_mb']:.0f} MB, {found['small']['peak_mb']:.0f} MB with a small "
        f"raster; file {size_mb:.0f} MB"
    )
    assert found["large"]["cells"] < 1_500_000
    assert found["large"]["level_m"] == pytest.approx(found["small"]["level_m"], abs=0.05)
    assert found["large"]["peak_mb"] - found["small"]["peak_mb"] < 60


@pytest.mark.slow
def test_a_batch_on_a_large_raster_stays_within_its_memory(tmp_path: Path) -> None:
    folder = synthetic.write_folder(tmp_path / "given", 2)
    west, north = synthetic.WEST - 20_000.0, synthetic.SOUTH + 20_000.0
    write_large(folder / "large.tif", west, north, tiled=True, blockxsize=512, blockysize=512)
    (folder / "holding-00001.toml").unlink()
    project = folder / "holding-00000.toml"
    project.write_text(project.read_text().replace("terrain.tif", "large.tif"))
    report = plan_batch(folder, tmp_path / "out", BatchOptions(processes=1, memory_mb=700))
    assert report.failures == ()
    [row] = table(tmp_path / "out", "timings")
    print(f"peak memory of the process: {row['peak_memory_mb']} MB")
    assert float(row["peak_memory_mb"]) < 500
