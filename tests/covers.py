"""Set covers put as joint problems: every site hangs on the source by free pipe."""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp

from dewpond.base.jointdesign import JointProblem


def cover_problem(covered: sp.csr_array) -> JointProblem:
    """Return the problem whose least cost is the fewest sites that cover every column."""
    sites = covered.shape[0]
    return JointProblem(
        n_nodes=sites + 1,
        edges=np.column_stack([np.zeros(sites, dtype=np.int64), np.arange(1, sites + 1)]),
        edge_cost=np.zeros(sites),
        site_node=np.arange(1, sites + 1),
        site_cost=np.ones(sites),
        root_node=np.array([0]),
        groups=covered.T.tocsr(),
    )
