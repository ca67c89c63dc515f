"""The cover is the smallest there is: beside brute force and beside spopt."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
import scipy.sparse as sp
from hypothesis import given, settings
from hypothesis import strategies as st

from dewpond.base.cover import distinct_cells, smallest_cover
from dewpond.base.errors import SolverError
from dewpond.base.optimiser import quiet_solver


def matrix(covered: np.ndarray) -> sp.csr_array:
    return sp.csr_array(covered.astype(np.float32))


def random_case(seed: int, sites: int, cells: int, share: float) -> np.ndarray:
    random = np.random.default_rng(seed)
    covered = random.random((sites, cells)) < share
    covered[random.integers(0, sites, cells), np.arange(cells)] = True
    return covered


def discs(seed: int, sites: int, cells: int, radius: float) -> np.ndarray:
    """Return which cells of a unit square lie within a radius of which sites."""
    random = np.random.default_rng(seed)
    places, ground = random.random((sites, 2)), random.random((cells, 2))
    distance = np.hypot(*(places[:, None] - ground[None]).transpose(2, 0, 1))
    covered = distance <= radius
    covered[distance.argmin(axis=0), np.arange(cells)] = True
    return covered


def brute_force(covered: np.ndarray) -> int:
    for count in range(covered.shape[0] + 1):
        for chosen in combinations(range(covered.shape[0]), count):
            if covered[list(chosen)].any(axis=0).all():
                return count
    raise AssertionError("no cover at all")


@settings(deadline=None, derandomize=True, max_examples=60)
@given(
    seed=st.integers(0, 100_000),
    sites=st.integers(1, 10),
    cells=st.integers(1, 40),
    share=st.floats(0.05, 0.6),
)
def test_as_small_as_brute_force_finds(seed, sites, cells, share):
    covered = random_case(seed, sites, cells, share)
    cover = smallest_cover(matrix(covered))
    assert covered[cover.sites].any(axis=0).all()
    assert len(cover.sites) == cover.bound == brute_force(covered)
    assert cover.complete
    assert (np.diff(cover.sites) > 0).all()


@pytest.mark.filterwarnings("ignore")  # of the peer library and its solver
@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("radius", [0.12, 0.25])
def test_as_small_as_spopt_finds(seed, radius):
    """LSCP of spopt, the same model after Toregas et al. 1971, solved by CBC without reduction."""
    import pulp
    from spopt.locate import LSCP

    covered = discs(seed, 60, 400, radius)
    # The peer wants costs, clients by facilities, and a radius that a cost may not pass.
    costs = np.where(covered.T, 1.0, 9.0)
    peer = LSCP.from_cost_matrix(costs, 2.0).solve(pulp.PULP_CBC_CMD(msg=False))
    cover = smallest_cover(matrix(covered))
    assert covered[cover.sites].any(axis=0).all()
    assert len(cover.sites) == round(peer.problem.objective.value())


def test_steiner_triple_systems_have_their_known_covering_numbers():
    """A9 and A27 of Fulkerson, Nemhauser & Trotter 1974: 5 and 18 (from memory).

    Set covers on which no reduction bites and the linear bound is far off.
    """
    a3 = [(0, 1, 2)]
    a9 = _tripled(a3, 3)
    a27 = _tripled(a9, 9)
    for triples, points, known in ((a9, 9, 5), (a27, 27, 18)):
        covered = np.zeros((points, len(triples)), dtype=bool)
        for column, triple in enumerate(triples):
            covered[list(triple), column] = True
        assert covered.sum(axis=1).tolist() == [(points - 1) // 2] * points
        cover = smallest_cover(matrix(covered))
        assert (len(cover.sites), cover.bound) == (known, known)


def _tripled(triples: list[tuple[int, int, int]], points: int) -> list[tuple[int, int, int]]:
    """Return the triple system on three copies of the points of another."""
    within = [tuple(p + copy * points for p in t) for copy in range(3) for t in triples]
    across = [(p, p + points, p + 2 * points) for p in range(points)]
    mixed = [
        (a + order[0] * points, b + order[1] * points, c + order[2] * points)
        for a, b, c in triples
        for order in ((0, 1, 2), (0, 2, 1), (1, 0, 2), (1, 2, 0), (2, 0, 1), (2, 1, 0))
    ]
    return within + across + mixed


def test_separate_clusters_are_solved_each_on_its_own():
    one = discs(1, 40, 300, 0.15)
    three = sp.csr_array(sp.block_diag([matrix(one)] * 3, format="csr"))
    alone, together = smallest_cover(matrix(one)), smallest_cover(three)
    assert together.bound == 3 * alone.bound
    assert len(together.sites) == 3 * len(alone.sites)


def test_same_answer_twice():
    covered = matrix(discs(7, 120, 2_000, 0.1))
    first, second = smallest_cover(covered), smallest_cover(covered)
    assert first.sites.tolist() == second.sites.tolist()


def test_distinct_cells_are_the_distinct_columns():
    covered = random_case(3, 6, 500, 0.3)
    kept = distinct_cells(matrix(covered))
    assert len(kept) == len(np.unique(covered, axis=1).T)
    assert len(np.unique(covered[:, kept], axis=1).T) == len(kept)
    firsts = {column.tobytes(): k for k, column in reversed(list(enumerate(covered.T)))}
    assert kept.tolist() == sorted(firsts.values())


def test_columns_whose_keys_collide_are_told_apart(monkeypatch):
    """Keys that are all alike give every column of one size the same sum."""

    class _Dull:
        def __init__(self) -> None:
            self.drawn = 0
            self.real = np.random.Generator(np.random.PCG64(1))

        def integers(self, low, high, size, dtype):
            self.drawn += 1
            if self.drawn == 1:
                return np.ones(size, dtype=dtype)
            return self.real.integers(low, high, size, dtype=dtype)

    covered = random_case(5, 8, 200, 0.4)
    expected = distinct_cells(matrix(covered))
    dull = _Dull()
    monkeypatch.setattr(np.random, "default_rng", lambda seed: dull)
    assert distinct_cells(matrix(covered)).tolist() == expected.tolist()
    assert dull.drawn == 2


def test_a_stored_zero_counts_as_covered():
    reach = sp.csr_array((np.array([0.0, 3.0]), ([0, 0], [0, 1])), shape=(1, 2))
    assert smallest_cover(reach).sites.tolist() == [0]


def test_nothing_to_cover():
    cover = smallest_cover(sp.csr_array((5, 0), dtype=np.float32))
    assert (cover.sites.tolist(), cover.bound, cover.complete) == ([], 0, True)


def test_a_cell_without_a_site_is_refused():
    with pytest.raises(ValueError, match="covered by no site"):
        smallest_cover(matrix(np.array([[True, False]])))


def test_a_search_cut_short_says_so_and_keeps_its_bound():
    covered = _triples_on_45_points()
    cover = smallest_cover(covered, node_limit=1)
    assert not cover.complete
    # Each point lies on 22 of the 330 triples, so no fewer than 15 can do.
    assert 15 <= cover.bound < len(cover.sites)
    assert covered[cover.sites].sum(axis=0).min() >= 1


def test_an_allowed_gap_is_kept():
    cover = smallest_cover(_triples_on_45_points(), optimality_gap=0.4)
    assert cover.complete
    assert 0.6 * len(cover.sites) <= cover.bound <= len(cover.sites)


def _triples_on_45_points() -> sp.csr_array:
    """Return three copies of the lines of the projective space over two elements, joined."""
    fifteen = [
        tuple(sorted((a - 1, b - 1, (a ^ b) - 1))) for a in range(1, 16) for b in range(a + 1, 16)
    ]
    triples = _tripled(sorted(set(fifteen)), 15)
    covered = np.zeros((45, len(triples)), dtype=bool)
    for column, triple in enumerate(triples):
        covered[list(triple), column] = True
    return matrix(covered)


def test_no_time_at_all_is_an_error():
    with pytest.raises(SolverError, match="time_limit_s"):
        smallest_cover(_triples_on_45_points(), node_limit=0, time_limit_s=0.0)


def test_the_solver_prints_nothing(capfd):
    smallest_cover(matrix(discs(2, 40, 300, 0.15)))
    assert capfd.readouterr() == ("", "")


def test_unknown_solver_options_are_refused():
    with pytest.raises(ValueError, match="no_such_option"):
        quiet_solver({"no_such_option": 1})
