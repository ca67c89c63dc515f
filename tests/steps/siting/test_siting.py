"""The choice of outlets from hand-made sites and walks."""

from __future__ import annotations

from itertools import combinations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import scipy.sparse as sp
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from dewpond.base.model import Candidates, Reach
from dewpond.base.settings import SitingSettings
from dewpond.steps.siting import choose_outlets
from dewpond.steps.siting.exchange import nearest_of, shorten_walks

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


def scatter(seed: int, sites: int, cells: int) -> tuple[np.ndarray, np.ndarray]:
    random = np.random.default_rng(seed)
    return random.uniform(0, 1000, (sites, 2)), random.uniform(0, 1000, (cells, 2))


def field(places: np.ndarray) -> Candidates:
    return candidates_at(places, np.zeros(len(places), dtype=int))


def test_one_outlet_in_the_middle_of_a_line():
    places = np.array([[0.0, 0], [100, 0], [200, 0]])
    ground = np.array([[0.0, 0], [50, 0], [150, 0], [200, 0]])
    chosen = choose_outlets(field(places), reach_of(places, ground, 100), SitingSettings())
    assert chosen.sites == (1,)
    assert chosen.walk_m == pytest.approx([100, 50, 50, 100])
    assert chosen.nearest_site.tolist() == [1, 1, 1, 1]
    assert (chosen.proof.value, chosen.proof.bound, chosen.proof.gap) == (1, 1, 0)
    assert chosen.proof.status == "optimal"
    assert chosen.warnings == ()


@settings(deadline=None, derandomize=True, max_examples=40)
@given(seed=st.integers(0, 10_000), limits=st.lists(st.floats(50, 900), min_size=2, max_size=4))
def test_a_longer_limit_never_costs_more_outlets(seed, limits):
    places, ground = scatter(seed, 30, 200)
    # Ground that no site reaches at the shortest limit would otherwise come in with the next.
    shortest = reach_of(places, ground, min(limits))
    ground = ground[np.bincount(shortest.walk_m.indices, minlength=len(ground)) > 0]
    counts = [
        len(choose_outlets(field(places), reach_of(places, ground, limit), SitingSettings()).sites)
        for limit in sorted(limits)
    ]
    assert counts == sorted(counts, reverse=True)


@settings(deadline=None, derandomize=True, max_examples=30)
@given(seed=st.integers(0, 10_000), hose_m=st.sampled_from([0.0, 60.0]))
def test_every_cell_in_reach_has_its_nearest_outlet_within_the_limit(seed, hose_m):
    places, ground = scatter(seed, 40, 300)
    reach = reach_of(places, ground, 180, hose_m=hose_m)
    chosen = choose_outlets(field(places), reach, SitingSettings())
    distance = np.hypot(*(places[:, None] - ground[None]).transpose(2, 0, 1))
    any_in_reach = (distance <= 180 + hose_m).any(axis=0)
    assert (chosen.unreachable == ~any_in_reach).all()
    assert (chosen.nearest_site[~any_in_reach] == -1).all()
    assert np.isnan(chosen.walk_m[~any_in_reach]).all()
    sites = np.array(chosen.sites)
    nearest = distance[sites].min(axis=0)[any_in_reach]
    expected = np.maximum(nearest - hose_m, 0)
    np.testing.assert_allclose(chosen.walk_m[any_in_reach], expected, atol=0.011)
    assert np.nanmax(chosen.walk_m) <= 180 + 1e-3
    at = chosen.nearest_site[any_in_reach]
    cell = np.flatnonzero(any_in_reach)
    np.testing.assert_allclose(np.maximum(distance[at, cell] - hose_m, 0), expected, atol=0.011)


def test_among_equal_numbers_the_shorter_walk_is_taken():
    """Two outlets are needed either way; 1 and 3 stand in the middle of their halves."""
    places = np.array([[0.0, 0], [100, 0], [240, 0], [300, 0]])
    ground = np.array([[x, 0.0] for x in (*range(0, 201, 20), *range(220, 381, 20))])
    reach = reach_of(places, ground, 200)
    chosen = choose_outlets(field(places), reach, SitingSettings())
    assert chosen.sites == (1, 3)


@pytest.mark.parametrize("seed", range(6))
def test_exchange_keeps_the_cover_and_cannot_be_bettered_by_one(seed):
    places, ground = scatter(seed, 25, 150)
    reach = reach_of(places, ground, 330)
    weight = np.random.default_rng(seed).uniform(1, 30, len(ground))
    walk = np.where(reach.walk_m.toarray() > 0, reach.walk_m.toarray(), np.inf).astype(float)
    start = np.arange(25)[::2]
    covered = np.isfinite(walk[start]).any(axis=0)
    walk, weight = walk[:, covered], weight[covered]
    matrix = sp.csr_array(np.where(np.isfinite(walk), walk, 0.0))

    def cost(sites) -> float:
        return float(weight @ walk[list(sites)].min(axis=0))

    # A true cover without spare sites, smallest by brute force.
    least = next(
        sites
        for count in range(1, 8)
        for sites in combinations(range(25), count)
        if np.isfinite(cost(sites))
    )
    better = shorten_walks(np.array(least), matrix, weight)
    assert len(better) == len(least)
    assert cost(better) <= cost(least)
    for site in better:
        others = [other for other in better if other != site]
        swapped = [cost([*others, new]) for new in range(25) if new not in others]
        assert cost(better) <= min(swapped) * (1 + 1e-6)


def test_nearest_and_next_nearest():
    walk = sp.csr_array(np.array([[5.0, 0, 0], [3.0, 4, 0], [3.0, 1, 0]]))
    nearest, first, second = nearest_of(np.array([0, 1, 2]), walk)
    assert nearest.tolist() == [1, 2, -1]
    assert first.tolist() == [3, 1, np.inf]
    assert second.tolist() == [3, 4, np.inf]


def test_ground_within_the_hose_is_at_the_water():
    places = np.array([[0.0, 0]])
    ground = np.array([[0.0, 0], [30, 0], [75, 0]])
    reach = reach_of(places, ground, 50, hose_m=40)
    chosen = choose_outlets(field(places), reach, SitingSettings())
    assert chosen.walk_m == pytest.approx([0, 0, 35])
    assert not chosen.unreachable.any()


def test_what_cannot_be_reached_is_named_with_its_area_and_why():
    places = np.array([[0.0, 0], [500, 0]])
    ground = np.array([[10.0, 0], [900, 0], [950, 0], [510, 0], [2000, 0]])
    paddock = np.array([0, 1, 1, 1, 2])
    candidates = candidates_at(
        places, np.array([0, 1]), {1: {"gateway": 3}, 2: {"steep ground": 7, "keep-out": 2}}
    )
    reach = reach_of(places, ground, 300, paddock=paddock, area_m2=2_500.0)
    chosen = choose_outlets(candidates, reach, SitingSettings())
    assert chosen.sites == (0, 1)
    assert chosen.unreachable.tolist() == [False, True, True, False, True]
    assert chosen.warnings == (
        "field 1: 0.50 ha stays without water: farther than 300 m from each of the 1 places for "
        "an outlet (places struck out there: gateway 3)",
        "field 2: 0.25 ha stays without water: no place for an outlet passes "
        "(places struck out there: keep-out 2, steep ground 7)",
    )


def test_nothing_in_reach_at_all():
    places = np.zeros((0, 2))
    ground = np.array([[0.0, 0], [10, 0]])
    reach = reach_of(places, ground, 100)
    candidates = candidates_at(places, np.zeros(0, dtype=int), {0: {"steep ground": 4}})
    chosen = choose_outlets(candidates, reach, SitingSettings())
    assert chosen.sites == ()
    assert chosen.unreachable.all()
    assert (chosen.proof.value, chosen.proof.bound, chosen.proof.gap) == (0, 0, 0)
    assert len(chosen.warnings) == 1


def test_a_search_cut_short_is_owned_up_to():
    places, ground = scatter(11, 150, 4_000)
    reach = reach_of(places, ground, 95)
    chosen = choose_outlets(field(places), reach, SitingSettings(node_limit=1))
    exact = choose_outlets(field(places), reach, SitingSettings())
    assert exact.proof.bound == exact.proof.value
    assert chosen.proof.bound <= exact.proof.value <= chosen.proof.value
    if chosen.proof.gap > 0:
        assert "at least" in chosen.proof.status


def test_progress_ends_at_one():
    shares: list[float] = []
    places, ground = scatter(5, 60, 500)
    choose_outlets(
        field(places), reach_of(places, ground, 150), SitingSettings(), progress=shares.append
    )
    assert shares == sorted(shares)
    assert shares[-1] == 1.0
