"""The command area on the sample and on two real places, held against ways followed anew."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import rasterio
from scipy.interpolate import RegularGridInterpolator

from dewpond import CommandArea, command_area, load_project, project_from_dict
from dewpond.base.summits import margin_asked_m

LANCASHIRE: dict[str, Any] = {
    "holding": {"name": "54 fields", "crs": "EPSG:27700"},
    "terrain": {"elevation": "SD84.asc", "height_unit": "metre"},
    "paddocks": {"boundaries": "fields_54_wgs84.geojson", "name_field": "PARCEL_ID"},
    "mob": [{"name": "ewes", "species": "sheep", "head": 400, "weight_kg": 70.0}],
}


def check_some_cells(area: CommandArea, cells: int = 25) -> None:
    """Follow single ways in plain steps and compare."""
    ground, case = area.ground, area.ground.case
    heights = ground.ground_level_m
    rows, columns = heights.values.shape
    transform = heights.transform
    x = transform.c + (np.arange(columns) + 0.5) * transform.a
    y = transform.f + (np.arange(rows) + 0.5) * transform.e
    height = RegularGridInterpolator((y[::-1], x), heights.values[::-1])
    known = np.flatnonzero(np.isfinite(ground.spare_m.values.ravel()))
    for cell in np.random.default_rng(3).choice(known, cells, replace=False):
        row, column = divmod(int(cell), columns)
        apart = np.hypot(x[column] - case.easting_m, y[row] - case.northing_m)
        count = max(1, int(np.ceil(apart / transform.a - 1e-9)))
        share = np.linspace(0.0, 1.0, count + 1)
        way_x = case.easting_m + share * (x[column] - case.easting_m)
        way_y = case.northing_m + share * (y[row] - case.northing_m)
        levels = height(np.column_stack([way_y, way_x]))
        length = np.append(0.0, np.cumsum(np.hypot(np.diff(levels), apart / count)))
        way = length * case.length_factor
        over = case.level_m - case.loss_per_m * way - levels
        residual = over[-1] - case.fittings_loss_m
        margin = margin_asked_m(way, levels, case.still_level_m, case.margin_m)
        spare = min((over - margin)[1:-1].min(initial=np.inf), residual - case.head_m)
        assert ground.residual_head_m.values[row, column] == pytest.approx(residual, abs=1e-6)
        assert ground.spare_m.values[row, column] == pytest.approx(spare, abs=1e-6)


def told(name: str, area: CommandArea, seconds: float) -> str:
    table = area.ground.paddocks
    return (
        f"\n{name}: {area.ground.spare_m.values.shape} cells, {seconds:.1f} s of processor time, "
        f"{table['commanded'].sum()} of {len(table)} commanded, {len(area.ground.tanks)} sites"
    )


def test_sample(sample_project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The tank above the moor wall serves all but a corner; the main the fields by the lane."""
    project = load_project(sample_project)
    begun = time.process_time()
    tank = command_area(project)
    with capsys.disabled():
        print(told("sample", tank, time.process_time() - begun))
    check_some_cells(tank)
    main = command_area(project, {"source": "road main"})
    check_some_cells(main)
    by_tank = set(tank.ground.paddocks.query("commanded")["name"])
    by_main = set(main.ground.paddocks.query("commanded")["name"])
    assert by_main < by_tank
    assert "Road Piece" in by_main
    assert "Cuckoo Rigg" in by_tank - by_main


@pytest.mark.slow
def test_lancashire(real_data: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = real_data / "lancashire_uk_farm"
    point = gpd.read_file(place / "fields_54_wgs84.geojson").geometry.iloc[0]
    at = point.representative_point()
    source = {"name": "tank", "kind": "header_tank", "at": [at.x, at.y],
              "height_above_ground_m": 1.0}  # fmt: skip
    project = project_from_dict({**LANCASHIRE, "source": [source]}, folder=place)
    begun = time.process_time()
    area = command_area(project, {"tank_sites": 3})
    with capsys.disabled():
        print(told("Lancashire", area, time.process_time() - begun))
    check_some_cells(area)


@pytest.mark.slow
def test_new_south_wales(real_data: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = real_data / "nsw_au_paddocks_translated"
    fields = gpd.read_file(place / "paddocks_translated_epsg6933.gpkg")
    fields["name"] = [f"paddock {number}" for number in range(1, len(fields) + 1)]
    at = fields.to_crs(28355).geometry.iloc[0].representative_point()
    raw = {
        "holding": {"name": "18 paddocks"},
        "terrain": {"height_unit": "metre"},
        "mob": [{"name": "stores", "species": "cattle", "head": 150, "weight_kg": 350.0}],
        "source": [{"name": "tank", "kind": "header_tank", "at": [at.x, at.y],
                    "crs": "EPSG:28355", "height_above_ground_m": 2.0}],
    }  # fmt: skip
    begun = time.process_time()
    with rasterio.open(place / "dem_h_10m_epsg28355.tif") as data:
        area = command_area(
            project_from_dict(raw), {"tank_sites": 3}, paddocks=fields[["name", "geometry"]],
            elevation=data,
        )  # fmt: skip
    with capsys.disabled():
        print(told("New South Wales", area, time.process_time() - begun))
    check_some_cells(area)
    # The best place fed back as a source commands every paddock.
    site = area.ground.tanks.iloc[0]
    raw["source"] = [{"name": "tank", "kind": "header_tank", "crs": area.holding.crs.to_string(),
                      "at": [site["easting_m"], site["northing_m"]],
                      "height_above_ground_m": 1.5}]  # fmt: skip
    with rasterio.open(place / "dem_h_10m_epsg28355.tif") as data:
        built = command_area(
            project_from_dict(raw), paddocks=fields[["name", "geometry"]], elevation=data
        )
    assert built.met
