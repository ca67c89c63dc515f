"""No raster, boundary or other layer of a project is read more than once."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import Any

import pyogrio
import pytest
import rasterio

from dewpond.base.settings import load_project
from dewpond.steps.read import read_holding

FILES = ("paddocks", "keep_out", "tracks", "watercourses", "gates")


@pytest.fixture
def reads(monkeypatch: pytest.MonkeyPatch) -> Counter[str]:
    """Count what the reading libraries are asked for, by name of file."""
    counted: Counter[str] = Counter()

    def watch(owner: Any, name: str) -> None:
        real = getattr(owner, name)

        def noted(path: Any, *args: Any, **keywords: Any) -> Any:
            counted[f"{name} {Path(str(path)).name}"] += 1
            return real(path, *args, **keywords)

        monkeypatch.setattr(owner, name, noted)

    watch(rasterio, "open")
    watch(pyogrio, "read_dataframe")
    watch(pyogrio, "read_info")
    return counted


def test_every_file_of_the_sample_is_read_once(reads: Counter[str], sample_project: Path) -> None:
    """Layers without a window are not opened first to ask for their CRS."""
    read_holding(load_project(sample_project))
    assert reads["open terrain.tif"] == 1
    assert [reads[f"read_dataframe {name}.geojson"] for name in FILES] == [1] * len(FILES)
    assert reads["read_info paddocks.geojson"] == 0
