"""Ground assigned to chosen outlets, from hand-made sites and walks."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import scipy.sparse as sp
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from dewpond.base.model import Candidates, Layout, Proof, Reach
from dewpond.steps.siting import assign_ground

RULES = ("keep-out", "gateway", "watercourse", "steep ground", "no height known")


def candidates_at(
    places: np.ndarray, paddock: np.ndarray, struck: dict[int, dict[str, int]] | None = None
) -> Candidates:
    """Return sites that each serve one paddock, with what was struck out by paddock and rule."""
    access = pd.DataFrame(
        {
            "site": np.arange(len(places)),
            "paddock": paddock,
            "easting_m": places[:, 0],
            "northing_m": places[:, 1],
        }
    )
    ids = sorted({*map(int, paddock), *(struck or {})})
    table = pd.DataFrame(0, index=ids, columns=["sites", *RULES])
    table["sites"] = [int((paddock == number).sum()) for number in ids]
    for number, rules in (struck or {}).items():
        for rule, count in rules.items():
            table.loc[number, rule] = count
    table.insert(0, "name", [f"field {number}" for number in ids])
    sites = gpd.GeoDataFrame(
        {"kind": "fence", "ground_level_m": 0.0, "slope_degrees": 0.0},
        geometry=shapely.points(places),
        crs="EPSG:27700",
        index=range(len(places)),
    )
    fences = gpd.GeoDataFrame({"paddocks": []}, geometry=[], crs="EPSG:27700")
    return Candidates(sites, access, fences, dict.fromkeys(RULES, 0), table)


def reach_of(
    places: np.ndarray,
    ground: np.ndarray,
    limit_m: float,
    *,
    hose_m: float = 0.0,
    paddock: np.ndarray | None = None,
    area_m2: float | np.ndarray = 25.0,
) -> Reach:
    """Return straight walks within the limit, as the walking step would give them."""
    distance = np.hypot(*(places[:, None] - ground[None]).transpose(2, 0, 1))
    walk = np.where(distance <= limit_m + hose_m, np.maximum(distance, 0.01), 0.0)
    cells = pd.DataFrame(
        {
            "paddock": np.zeros(len(ground), dtype=int) if paddock is None else paddock,
            "easting_m": ground[:, 0],
            "northing_m": ground[:, 1],
            "area_m2": np.broadcast_to(area_m2, len(ground)),
        }
    )
    return Reach(cells, sp.csr_array(walk.astype(np.float32)), limit_m, hose_m)


def scatter(random_state: int, sites: int, cells: int) -> tuple[np.ndarray, np.ndarray]:
    random = np.random.default_rng(random_state)
    return random.uniform(0, 1000, (sites, 2)), random.uniform(0, 1000, (cells, 2))


def field(places: np.ndarray) -> Candidates:
    return candidates_at(places, np.zeros(len(places), dtype=int))


def layout_of(sites, unreachable, **parts) -> Layout:
    proof = Proof(500.0, 480.0, 0.1, "within gap")
    return Layout(0, tuple(sites), (), 0.0, 0.0, proof, True, np.asarray(unreachable), **parts)


def test_each_cell_walks_to_its_nearest_outlet():
    places = np.array([[0.0, 0], [100, 0], [200, 0]])
    ground = np.array([[0.0, 0], [40, 0], [150, 0], [200, 0]])
    layout = layout_of([0, 2], [False] * 4)
    shared = assign_ground(field(places), reach_of(places, ground, 100), layout)
    assert shared.sites == (0, 2)
    assert shared.walk_m == pytest.approx([0.01, 40, 50, 0.01], abs=1e-6)
    assert shared.nearest_site.tolist() == [0, 0, 2, 2]
    assert shared.proof == layout.proof
    assert shared.warnings == ()


def test_of_two_equally_near_the_lower_number_is_taken():
    places = np.array([[0.0, 0], [100, 0], [200, 0]])
    ground = np.array([[100.0, 0]])
    shared = assign_ground(
        field(places), reach_of(places, ground, 150), layout_of([0, 2], [False])
    )
    assert shared.nearest_site.tolist() == [0]


@settings(deadline=None, derandomize=True, max_examples=30)
@given(
    random_state=st.integers(0, 10_000),
    hose_m=st.sampled_from([0.0, 60.0]),
    chosen=st.integers(0, 40),
)
def test_nearest_outlets_against_every_distance(random_state, hose_m, chosen):
    places, ground = scatter(random_state, 40, 300)
    reach = reach_of(places, ground, 180, hose_m=hose_m)
    sites = np.sort(np.random.default_rng(random_state).permutation(40)[:chosen])
    shared = assign_ground(field(places), reach, layout_of(sites, np.zeros(300, dtype=bool)))
    distance = np.hypot(*(places[:, None] - ground[None]).transpose(2, 0, 1))[sites]
    distance = np.where(distance <= 180 + hose_m, distance, np.inf)
    nearest = distance.min(axis=0, initial=np.inf)
    wet = np.isfinite(nearest)
    assert (shared.nearest_site[~wet] == -1).all()
    assert np.isnan(shared.walk_m[~wet]).all()
    np.testing.assert_allclose(
        shared.walk_m[wet], np.maximum(nearest[wet] - hose_m, 0), atol=0.011
    )
    position = np.searchsorted(sites, shared.nearest_site[wet])
    walked = np.maximum(distance[position, np.flatnonzero(wet)] - hose_m, 0)
    np.testing.assert_allclose(walked, np.maximum(nearest[wet] - hose_m, 0), atol=0.011)


def test_ground_within_the_hose_is_at_the_water():
    places = np.array([[0.0, 0]])
    ground = np.array([[0.0, 0], [30, 0], [75, 0]])
    reach = reach_of(places, ground, 50, hose_m=40)
    shared = assign_ground(field(places), reach, layout_of([0], [False] * 3))
    assert shared.walk_m == pytest.approx([0, 0, 35])


def test_what_cannot_be_reached_is_named_with_its_area_and_why():
    places = np.array([[0.0, 0], [500, 0]])
    ground = np.array([[10.0, 0], [900, 0], [950, 0], [510, 0], [2000, 0]])
    paddock = np.array([0, 1, 1, 1, 2])
    candidates = candidates_at(
        places, np.array([0, 1]), {1: {"gateway": 3}, 2: {"steep ground": 7, "keep-out": 2}}
    )
    reach = reach_of(places, ground, 300, paddock=paddock, area_m2=2_500.0)
    layout = layout_of([0, 1], [False, True, True, False, True], warnings=("of the layout",))
    shared = assign_ground(candidates, reach, layout)
    assert shared.unreachable.tolist() == [False, True, True, False, True]
    assert shared.warnings == (
        "of the layout",
        "field 1: 0.50 ha stays without water: farther than 300 m from each of the 1 places for "
        "an outlet (places struck out there: gateway 3)",
        "field 2: 0.25 ha stays without water: no place for an outlet passes "
        "(places struck out there: keep-out 2, steep ground 7)",
    )


def test_ground_whose_places_no_pipe_reaches_is_named_apart():
    places = np.array([[0.0, 0], [500, 0]])
    ground = np.array([[10.0, 0], [510, 0]])
    candidates = candidates_at(places, np.array([0, 1]))
    reach = reach_of(places, ground, 300, paddock=np.array([0, 1]), area_m2=10_000.0)
    shared = assign_ground(candidates, reach, layout_of([0], [False, True]))
    assert len(shared.warnings) == 1
    assert "field 1: 1.00 ha" in shared.warnings[0]
    assert "cannot be joined" in shared.warnings[0]


def test_nothing_in_reach_at_all():
    places = np.zeros((0, 2))
    ground = np.array([[0.0, 0], [10, 0]])
    reach = reach_of(places, ground, 100)
    candidates = candidates_at(places, np.zeros(0, dtype=int), {0: {"steep ground": 4}})
    shared = assign_ground(candidates, reach, layout_of([], [True, True]))
    assert (shared.nearest_site == -1).all()
    assert len(shared.warnings) == 1
