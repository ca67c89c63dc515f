"""Real and made-up ground that stands for the truth, and what a planner would have of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import matplotlib.cbook
import numpy as np
import pyproj
import rasterio
from affine import Affine

from dewpond.base.surface import Grid, Surface, cut_from

HERE = Path(__file__).resolve().parent
REAL_DATA = HERE.parents[2] / "shared" / "realdata"
BRITISH = pyproj.CRS.from_epsg(27700)


@dataclass(frozen=True, eq=False)
class Ground:
    """Ground of one place.

    ``truth`` is what is there, ``seen`` another survey of the very same cells where there is one;
    ``coarser`` is how many true cells go into one cell that a planner sees, ``side_m`` a usual
    width of its fields, ``data_class`` the kind of open heights whose error it gets.
    """

    name: str
    truth: Grid
    crs: pyproj.CRS
    coarser: int
    side_m: float
    data_class: str
    seen: Grid | None = None

    @property
    def surface(self) -> Surface:
        return Surface((self.truth,), self.crs, 1.0)


@cache
def new_south_wales() -> Ground:
    """Rolling grazing country, 10 m posting, seen at 30 m."""
    with rasterio.open(REAL_DATA / "nsw_au_paddocks_translated/dem_h_10m_epsg28355.tif") as data:
        crs = pyproj.CRS.from_user_input(data.crs)
        grid = Grid(data.read(1).astype(float), data.transform, crs)
    return Ground("new south wales", grid, crs, 3, 190.0, "radar surface 30 m")


@cache
def lancashire() -> Ground:
    """A hill block of 10 km, 50 m posting, seen at 100 m; its fields are the larger for it."""
    with rasterio.open(REAL_DATA / "lancashire_uk_farm/SD84.asc") as data:
        grid = Grid(data.read(1).astype(float), data.transform, BRITISH)
    return Ground("lancashire", grid, BRITISH, 2, 420.0, "radar surface 90 m")


@cache
def fault() -> Ground:
    """The grid that comes with matplotlib, at a fifth of its size, lengths and heights alike."""
    with matplotlib.cbook.get_sample_data("jacksboro_fault_dem.npz") as data:
        height = data["elevation"].astype(float) / 5.0
    across, down = 74.3 / 5.0, 92.6 / 5.0  # three seconds at 36.6 degrees north
    return Ground(
        "jacksboro", Grid(height, Affine(across, 0, 400_000, 0, -down, 480_000), BRITISH), BRITISH,
        2, 190.0, "radar surface 30 m",
    )  # fmt: skip


@cache
def formula() -> Ground:
    """Hills, a valley and small humps of a formula, 10 m posting."""
    x, y = np.meshgrid(np.arange(260) * 10.0, np.arange(260) * 10.0)
    height = 200 + 25 * np.sin(x / 310) * np.cos(y / 270) + 0.02 * x - 0.01 * y
    height += 2.5 * np.sin(x / 61 + 1) * np.sin(y / 47) + 0.6 * np.cos(x / 17) * np.cos(y / 23)
    return Ground(
        "formula", Grid(height, Affine(10, 0, 400_000, 0, -10, 480_000), BRITISH), BRITISH,
        3, 190.0, "radar surface 30 m",
    )  # fmt: skip


@cache
def two_surveys() -> Ground:
    """One place as two radar missions saw it, one of them standing for the truth."""
    with np.load(HERE / "data" / "two_radar_surfaces.npz") as data:
        step = float(data["step"])
        transform = Affine(step, 0, float(data["west"]), 0, -step, float(data["north"]))
        first, second = data["first_dm"] / 10.0, data["second_m"].astype(float)
    degrees = pyproj.CRS.from_epsg(4326)
    return Ground(
        "two surveys", Grid(first, transform, degrees), pyproj.CRS.from_epsg(32611), 1, 190.0,
        "shuttle radar surface 30 m", Grid(second, transform, degrees),
    )  # fmt: skip


DEGRADED: tuple[Callable[[], Ground], ...] = (new_south_wales, lancashire, fault, formula)


def cut_coarse(ground: Ground, rows: slice, columns: slice) -> Grid:
    """Return means of blocks of true cells; the slices count whole blocks."""
    by = ground.coarser
    part = ground.truth.values[
        rows.start * by : rows.stop * by, columns.start * by : columns.stop * by
    ]
    height, width = part.shape
    means = part.reshape(height // by, by, width // by, by).mean(axis=(1, 3))
    at = ground.truth.transform
    moved = cut_from(at, columns.start * by, rows.start * by, by, by)
    return Grid(means, moved, ground.truth.crs)


def cut_seen(ground: Ground, rows: slice, columns: slice) -> Grid:
    """Return the other survey of the same cells."""
    assert ground.seen is not None
    moved = cut_from(ground.seen.transform, columns.start, rows.start)
    return replace(ground.seen, values=ground.seen.values[rows, columns], transform=moved)
