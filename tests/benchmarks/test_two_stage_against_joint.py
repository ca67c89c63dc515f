"""Outlets and pipe decided together, beside the fewest outlets joined afterwards.

The two-stage scheme comes from spopt (location set covering) and networkx (`steiner_tree`), on the
same sites, corridors and prices. The joint scheme must never be dearer. Sources stand high, so
that head keeps no ground out of either.
"""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import rasterio
import shapely

from benchmarks.two_stage import two_stage
from dewpond import Project, load_project, project_from_dict
from dewpond.steps.candidates import find_candidates
from dewpond.steps.corridors import lay_corridors
from dewpond.steps.read import read_holding
from dewpond.steps.terrain import model_terrain
from dewpond.steps.walking import measure_walks
from farms import SOUTH, WEST
from steps.layout.small_holdings import Case, case, tank

pytestmark = [
    pytest.mark.benchmark,
    pytest.mark.filterwarnings("ignore"),  # of the peer library and its solver
]

WIDE_M, DEEP_M = 1100.0, 900.0


def through_the_steps(project: Project, **given: Any) -> Case:
    holding = read_holding(project, **given)
    terrain = model_terrain(holding, project.walking)
    candidates = find_candidates(
        holding, terrain, project.siting, project.design, project.paddocks.gap_width_m
    )
    reach = measure_walks(holding, terrain, candidates, project.walking, project.design)
    corridors = lay_corridors(
        holding, terrain, candidates, project.routing, project.design, project.prices
    )
    return Case(project, holding, candidates, reach, corridors)


def sample(root: Path) -> Case:
    return through_the_steps(load_project(root / "sample_data" / "holding.toml"))


def lancashire(real_data: Path, walk_limit_m: float) -> Case:
    place = real_data / "lancashire_uk_farm"
    fields = gpd.read_file(place / "fields_54_wgs84.geojson")
    at = fields.geometry.iloc[0].representative_point()
    raw = {
        "holding": {"name": "54 fields", "crs": "EPSG:27700"},
        "terrain": {"elevation": "SD84.asc", "height_unit": "metre"},
        "paddocks": {"boundaries": "fields_54_wgs84.geojson", "name_field": "PARCEL_ID"},
        "mob": [{"name": "ewes", "species": "sheep", "head": 400, "weight_kg": 70.0}],
        "source": [high_tank(at.x, at.y)],
        "design": {"walk_limit_m": walk_limit_m},
    }
    return through_the_steps(project_from_dict(raw, folder=place))


def new_south_wales(real_data: Path, walk_limit_m: float) -> Case:
    place = real_data / "nsw_au_paddocks_translated"
    fields = gpd.read_file(place / "paddocks_translated_epsg6933.gpkg")
    fields = fields.assign(name=[f"paddock {n}" for n in range(1, len(fields) + 1)])
    at = fields.to_crs(4326).geometry.iloc[0].representative_point()
    raw = {
        "holding": {"name": "18 paddocks"},
        "terrain": {"height_unit": "metre"},
        "mob": [{"name": "stores", "species": "cattle", "head": 150, "weight_kg": 350.0}],
        "source": [high_tank(at.x, at.y)],
        "design": {"walk_limit_m": walk_limit_m},
    }
    with rasterio.open(place / "dem_h_10m_epsg28355.tif") as data:
        return through_the_steps(
            project_from_dict(raw), paddocks=fields[["name", "geometry"]], elevation=data
        )


def high_tank(longitude: float, latitude: float) -> dict[str, Any]:
    return {
        "name": "tank", "kind": "header_tank", "at": [longitude, latitude],
        "height_above_ground_m": 500.0,
    }  # fmt: skip


def random_holding(random_state: int) -> Case:
    """Paddocks as the cells of 6 to 12 random points, on a hillside; a tank somewhere outside."""
    random = np.random.default_rng(random_state)
    count = int(random.integers(6, 13))
    points = random.uniform((0, 0), (WIDE_M, DEEP_M), (count, 2)) + np.array([WEST, SOUTH])
    frame = shapely.box(WEST, SOUTH, WEST + WIDE_M, SOUTH + DEEP_M)
    cells = shapely.voronoi_polygons(shapely.multipoints(points), extend_to=frame, ordered=True)
    parts = shapely.intersection(shapely.get_parts(cells), frame)
    x = float(random.uniform(0, WIDE_M))
    return case(
        [part for part in parts if part.area > 2_000.0],
        lambda x, y: 150.0 + 0.06 * (x - WEST) + 8.0 * np.sin((y - SOUTH) / 150.0),
        source=[tank(x, -40.0, height_above_ground_m=300.0)],
        siting={"spacing_m": 60.0},
        design={"walk_limit_m": float(random.uniform(220, 420))},
        layout={"optimality_gap": 0.01, "time_limit_s": 120.0},
    )


def compare(name: str, one: Case, capsys: Any, source: int = 0) -> float:
    """Print both schemes and return the saving as a share of the two-stage price."""
    started = time.perf_counter()
    layout = one.lay_out(source)
    own_s = time.perf_counter() - started
    started = time.perf_counter()
    other = two_stage(one, source)
    other_s = time.perf_counter() - started
    proof = layout.proof
    saving = 1 - proof.value / other.price
    with capsys.disabled():
        print(
            f"\n{name}: {len(one.holding.grazed)} paddocks, {len(one.candidates.sites)} sites, "
            f"{len(one.corridors.edges)} edges; joint {len(layout.sites)} outlets "
            f"{proof.value:.0f} (bound {proof.bound:.0f}, gap {100 * proof.gap:.2f} %, "
            f"{proof.status}, {own_s:.1f} s); two-stage {other.outlets} outlets {other.price:.0f} "
            f"({other_s:.1f} s); saving {100 * saving:.1f} %"
        )
    assert proof.value <= other.price * (1 + 1e-9)
    assert proof.bound <= proof.value
    return saving


def test_sample(root: Path, capsys: Any) -> None:
    # The second source, a tank above all ground, is the one that the sample plans with.
    compare("sample", sample(root), capsys, source=1)


@pytest.mark.parametrize("walk_limit_m", [400.0, 600.0])
def test_new_south_wales(real_data: Path, walk_limit_m: float, capsys: Any) -> None:
    one = new_south_wales(real_data, walk_limit_m)
    compare(f"New South Wales, {walk_limit_m:.0f} m", one, capsys)


@pytest.mark.parametrize("walk_limit_m", [400.0])
def test_lancashire(real_data: Path, walk_limit_m: float, capsys: Any) -> None:
    compare(f"Lancashire, {walk_limit_m:.0f} m", lancashire(real_data, walk_limit_m), capsys)


@pytest.mark.slow
def test_twenty_random_holdings(capsys: Any) -> None:
    savings = [
        compare(f"random {random_state}", random_holding(random_state), capsys)
        for random_state in range(20)
    ]
    with capsys.disabled():
        print(f"\nmedian saving {100 * np.median(savings):.1f} %")
