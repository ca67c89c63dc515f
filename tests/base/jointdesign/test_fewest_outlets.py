"""With free pipe the joint choice is a set cover: the fewest outlets, known from elsewhere."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pulp
import pytest
import scipy.sparse as sp
from spopt.locate import LSCP

from covers import cover_problem
from dewpond.base.jointdesign import JointLimits, design_jointly


def fewest_outlets(covered: sp.csr_array) -> int:
    """Return the number of sites chosen when every site hangs on the source by free pipe."""
    chosen = design_jointly(
        cover_problem(covered),
        JointLimits(gap=0.0),
    )
    assert chosen.gap == pytest.approx(0.0, abs=1e-9)
    served = covered.toarray()[chosen.sites].any(axis=0)
    assert served.all()
    return len(chosen.sites)


def reach_on_a_plain(random_state: int, sites: int, places: int, limit: float) -> sp.csr_array:
    """Return which of random places lie within a limit of random sites; each in reach of one."""
    random = np.random.default_rng(random_state)
    spot, place = random.random((sites, 2)), random.random((places, 2))
    near = np.hypot(*(spot[:, None] - place[None]).transpose(2, 0, 1)) <= limit
    return sp.csr_array(near[:, near.any(axis=0)])


@pytest.mark.filterwarnings("ignore")  # of the peer library and its solver
@pytest.mark.parametrize("random_state", range(6))
def test_against_the_location_set_covering_problem_of_spopt(random_state: int) -> None:
    covered = reach_on_a_plain(random_state, 40, 120, 0.22)
    walk = np.where(covered.toarray().T, 1.0, 9.0)
    peer = LSCP.from_cost_matrix(walk, 2.0).solve(pulp.PULP_CBC_CMD(msg=False))
    assert fewest_outlets(covered) == round(peer.problem.objective.value())


@pytest.mark.parametrize("random_state", range(8))
def test_against_every_choice(random_state: int) -> None:
    covered = reach_on_a_plain(100 + random_state, 9, 14, 0.35)
    serves = covered.toarray()
    least = next(
        count
        for count in range(1, len(serves) + 1)
        if any(serves[list(some)].any(axis=0).all() for some in combinations(range(9), count))
    )
    assert fewest_outlets(covered) == least
