"""Invented holdings by number: always the same for one number, each on ground of its own.

Fields are a few blocks side by side on a slope of its own steepness, watered from a tank or a
main at a corner. Small ones plan in a fraction of a second, as kill tests need them; others have
the size of real holdings.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import rasterio
from rasterio.transform import from_origin
from shapely import Point, Polygon

CRS = "EPSG:27700"
WEST, SOUTH = 400_000.0, 400_000.0
PITCH_M = 1_500.0
"""Holdings stand on a square lattice this far apart."""
POSTING_M = 10.0
MARGIN_M = 300.0


@dataclass(frozen=True)
class Holding:
    """One invented holding."""

    name: str
    fields: gpd.GeoDataFrame
    source: dict[str, object]
    head: int


def holding(number: int, across: int, *, least: int = 1, most: int = 2) -> Holding:
    """Return holding `number` of a square of `across` by `across` of them.

    Parameters
    ----------
    number : int
    across : int
        Holdings in a row.
    least, most : int
        Fields along either side.
    """
    random = np.random.default_rng([20_240_229, number])
    row, column = divmod(number, across)
    west, south = WEST + PITCH_M * column, SOUTH + PITCH_M * row
    columns, rows = (int(value) for value in random.integers(least, most + 1, 2))
    side = min(float(random.uniform(140.0, 220.0)), (PITCH_M - 100.0) / max(columns, rows))
    x = west + side * np.arange(columns + 1)
    y = south + side * np.arange(rows + 1)
    # Corners inside move a little, so that no two holdings are alike.
    nudge = random.uniform(-0.08, 0.08, (rows + 1, columns + 1, 2)) * side
    corner = np.stack(np.meshgrid(x, y), axis=-1) + nudge
    shapes = [
        Polygon([corner[r, c], corner[r, c + 1], corner[r + 1, c + 1], corner[r + 1, c]])
        for r in range(rows)
        for c in range(columns)
    ]
    name = f"holding {number:05d}"
    fields = gpd.GeoDataFrame(
        {
            "holding": name,
            "name": [f"field {position + 1}" for position in range(len(shapes))],
        },
        geometry=shapes,
        crs=CRS,
    )
    kind = "mains" if number % 3 == 0 else "header_tank"
    water = {"static_pressure_bar": 2.0} if kind == "mains" else {"height_above_ground_m": 8.0}
    at = [round(float(value), 1) for value in corner[0, 0] + 2.0]
    source = {"name": "supply", "kind": kind, "at": at, **water}
    return Holding(name, fields, source, int(random.integers(20, 60)))


def height_m(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Return the ground: long waves over the whole district, so that every holding has a slope."""
    return np.asarray(
        150.0
        + 20.0 * np.sin(2 * math.pi * x / 4_100.0)
        + 15.0 * np.cos(2 * math.pi * y / 3_300.0)
        + 1.5 * np.sin(2 * math.pi * (x + y) / 640.0)
    )


def write_elevation(path: Path, across: int, down: int, posting_m: float = POSTING_M) -> None:
    """Write the ground under `across` by `down` holdings, strip by strip."""
    west, north = WEST - MARGIN_M, SOUTH + PITCH_M * down + MARGIN_M
    columns = math.ceil((PITCH_M * across + 2 * MARGIN_M) / posting_m)
    rows = math.ceil((PITCH_M * down + 2 * MARGIN_M) / posting_m)
    with rasterio.open(
        path, "w", driver="GTiff", width=columns, height=rows, count=1, dtype="float32", crs=CRS,
        transform=from_origin(west, north, posting_m, posting_m), tiled=True, compress="deflate",
        blockxsize=256, blockysize=256,
    ) as data:  # fmt: skip
        data.units = ("metre",)
        x = west + posting_m * (np.arange(columns) + 0.5)
        for top in range(0, rows, 256):
            count = min(256, rows - top)
            y = north - posting_m * (top + np.arange(count) + 0.5)
            window = rasterio.windows.Window(0, top, columns, count)
            data.write(height_m(*np.meshgrid(x, y)).astype("float32"), 1, window=window)


def write_folder(folder: Path, count: int, **size: int) -> Path:
    """Write `count` holdings as project files with their boundaries and one shared raster."""
    across = math.ceil(math.sqrt(count))
    folder.mkdir(parents=True, exist_ok=True)
    write_elevation(folder / "terrain.tif", across, math.ceil(count / across))
    for one in all_of(count, **size):
        stem = one.name.replace(" ", "-")
        one.fields.to_file(folder / f"{stem}.geojson", driver="GeoJSON")
        (folder / f"{stem}.toml").write_text(project_text(one, f"{stem}.geojson"), "utf-8")
    return folder


def write_template(folder: Path, count: int, **size: int) -> Path:
    """Write `count` holdings as one layer of fields and one of sources, with a template."""
    across = math.ceil(math.sqrt(count))
    folder.mkdir(parents=True, exist_ok=True)
    write_elevation(folder / "terrain.tif", across, math.ceil(count / across))
    found = list(all_of(count, **size))
    fields = gpd.GeoDataFrame(pd.concat([one.fields for one in found], ignore_index=True), crs=CRS)
    fields.to_file(folder / "fields.gpkg", layer="fields")
    sources = [{key: one.source.get(key) for key in COLUMNS} for one in found]
    gpd.GeoDataFrame(
        {"holding": [one.name for one in found], **pd.DataFrame(sources).to_dict("list")},
        geometry=[Point(one.source["at"]) for one in found],
        crs=CRS,
    ).to_file(folder / "sources.gpkg", layer="sources")
    (folder / "template.toml").write_text(TEMPLATE, "utf-8")
    return folder / "template.toml"


def all_of(count: int, **size: int) -> Iterator[Holding]:
    """Return holdings 0 to `count` - 1 of a square."""
    across = math.ceil(math.sqrt(count))
    for number in range(count):
        yield holding(number, across, **size)


COLUMNS = ("name", "kind", "static_pressure_bar", "height_above_ground_m")

TEMPLATE = f"""
[holding]
name = "template"
crs = "{CRS}"
[terrain]
elevation = "terrain.tif"
[[mob]]
name = "stores"
species = "cattle"
head = 40
weight_kg = 350.0
[siting]
steepest_degrees = 45.0
"""


def project_text(one: Holding, boundaries: str) -> str:
    """Return the project file of one holding."""
    water = "\n".join(f"{key} = {_toml(value)}" for key, value in one.source.items())
    return f"""
[holding]
name = "{one.name}"
crs = "{CRS}"
[terrain]
elevation = "terrain.tif"
[paddocks]
boundaries = "{boundaries}"
[[mob]]
name = "stores"
species = "cattle"
head = {one.head}
weight_kg = 350.0
[[source]]
{water}
crs = "{CRS}"
[siting]
steepest_degrees = 45.0
"""


def _toml(value: object) -> str:
    return f'"{value}"' if isinstance(value, str) else str(value)


def write_real_places(folder: Path, real_data: Path) -> list[Path]:
    """Write the project files of the two real places, on their own boundaries and heights."""
    north = real_data / "lancashire_uk_farm"
    south = real_data / "nsw_au_paddocks_translated"
    paddocks = gpd.read_file(south / "paddocks_translated_epsg6933.gpkg")
    paddocks["name"] = [f"paddock {number}" for number in range(1, len(paddocks) + 1)]
    paddocks.to_file(folder / "south.gpkg")
    places = {
        "north": (north / "fields_54_wgs84.geojson", "PARCEL_ID", north / "SD84.asc"),
        "south": (folder / "south.gpkg", "name", south / "dem_h_10m_epsg28355.tif"),
    }
    written = []
    for name, (boundaries, field, elevation) in places.items():
        point = gpd.read_file(boundaries).to_crs(4326).geometry.iloc[0].representative_point()
        text = f"""
[holding]
name = "{name}"
[terrain]
elevation = "{elevation.as_posix()}"
height_unit = "metre"
[paddocks]
boundaries = "{boundaries.as_posix()}"
name_field = "{field}"
[[mob]]
name = "stores"
species = "cattle"
head = 80
weight_kg = 350.0
[[source]]
name = "tank"
kind = "header_tank"
at = [{point.x!r}, {point.y!r}]
height_above_ground_m = 1.0
"""
        (folder / f"{name}.toml").write_text(text, "utf-8")
        written.append(folder / f"{name}.toml")
    return written
