"""Time of the fewest outlets beside spopt's, on the same matrix in the same run."""

from __future__ import annotations

import time

import numpy as np
import pytest
import scipy.sparse as sp

from covers import cover_problem
from dewpond.base.jointdesign import JointLimits, design_jointly


def holding_like(
    paddocks: int, side_m: float, spacing_m: float, cell_m: float, limit_m: float
) -> sp.csr_array:
    """Return which cells lie in reach of sites along the fences of square paddocks."""
    along = np.arange(0, paddocks * side_m + 1, spacing_m)
    lines = np.arange(paddocks + 1) * side_m
    across = np.stack(np.meshgrid(along, lines), axis=-1).reshape(-1, 2)
    places = np.unique(np.vstack([across, across[:, ::-1]]), axis=0)
    axis = np.arange(cell_m / 2, paddocks * side_m, cell_m)
    ground = np.stack(np.meshgrid(axis, axis), axis=-1).reshape(-1, 2)
    corner = np.floor(ground / side_m) * side_m
    rows = []
    for place in places:
        beside = np.all((corner <= place) & (place <= corner + side_m), axis=1)
        rows.append(beside & (np.hypot(*(ground - place).T) <= limit_m))
    covered = sp.csr_array(np.array(rows))
    return covered[:, np.flatnonzero(np.bincount(covered.indices, minlength=len(ground)))]


@pytest.mark.benchmark
@pytest.mark.filterwarnings("ignore")  # of the peer library and its solver
@pytest.mark.parametrize(("paddocks", "spacing_m", "cell_m"), [(2, 50.0, 12.5), (3, 50.0, 12.5)])
def test_cover_beside_spopt(
    capsys: pytest.CaptureFixture[str], paddocks: int, spacing_m: float, cell_m: float
) -> None:
    import pulp
    from spopt.locate import LSCP

    covered = holding_like(paddocks, 350.0, spacing_m, cell_m, 260.0)
    sites = covered.shape[0]
    started = time.perf_counter()
    own = design_jointly(
        cover_problem(covered),
        JointLimits(gap=0.0),
    )
    own_s = time.perf_counter() - started

    walk = np.where(covered.toarray().T, 1.0, 9.0)
    started = time.perf_counter()
    peer = LSCP.from_cost_matrix(walk, 2.0).solve(pulp.PULP_CBC_CMD(msg=False))
    peer_s = time.perf_counter() - started

    assert len(own.sites) == round(peer.problem.objective.value())
    with capsys.disabled():
        print(
            f"\n{sites} sites, {covered.shape[1]} cells, {covered.nnz} pairs: "
            f"{len(own.sites)} outlets; dewpond {own_s:.3f} s, spopt {peer_s:.3f} s, "
            f"ratio {peer_s / own_s:.0f}"
        )
