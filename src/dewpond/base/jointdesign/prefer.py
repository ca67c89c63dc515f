"""Among schemes of equal cost, prefers the one with shorter walks."""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp

from dewpond.base.jointdesign.problem import FloatArray, IntArray, JointProblem
from dewpond.base.jointdesign.search import SAME_COST, GivenScheme

_SHORTER = 1e-6


def shorten_walks(problem: JointProblem, scheme: GivenScheme) -> GivenScheme:
    """Exchange outlets for others on the same pipe while the walks get shorter at no cost.

    Parameters
    ----------
    problem : JointProblem
        With `walk_m`; without it the scheme is returned as it is.
    scheme : GivenScheme

    Returns
    -------
    GivenScheme
        Never dearer; it serves the same groups and keeps the limits as well as before.
    """
    if problem.walk_m is None or not len(scheme.sites):
        return scheme
    choice = _Choice(problem, scheme)
    while choice.swap():
        pass
    return choice.scheme()


class _Choice:
    """Outlets on a fixed tree, and the walks of the groups to each site on it."""

    def __init__(self, problem: JointProblem, scheme: GivenScheme) -> None:
        self.problem, self.start = problem, scheme
        touched = np.zeros(problem.n_nodes, dtype=bool)
        touched[np.asarray(problem.edges).reshape(-1, 2)[scheme.edges]] = True
        touched[problem.root_node[scheme.roots]] = True
        usable = touched[problem.site_node]
        usable[problem.forbidden_sites] = False
        self.sites = np.flatnonzero(usable)
        self.chosen = np.isin(self.sites, scheme.sites)
        self.walk = _walks(problem, self.sites)
        self.price = np.asarray(problem.site_cost, dtype=float)[self.sites]
        self.budget = float(self.price[self.chosen].sum()) + SAME_COST * scheme.cost
        self.served = np.isfinite(self.walk[:, self.chosen]).any(axis=1)

    def total(self, chosen: IntArray) -> float:
        """Return the sum of walks, infinite where a served group would lose its outlet."""
        return float(self.walk[np.ix_(self.served, chosen)].min(axis=1).sum())

    def swap(self) -> bool:
        """Make the first exchange of one outlet for another that shortens the walks."""
        now = np.flatnonzero(self.chosen)
        best = self.total(now)
        forced = np.isin(self.sites, self.problem.forced_sites)
        for out in now[~forced[now]]:
            others = now[now != out]
            spent = float(self.price[others].sum())
            fits = np.flatnonzero(~self.chosen & (spent + self.price <= self.budget))
            if not len(fits):
                continue
            rest = self.walk[np.ix_(self.served, others)].min(axis=1, initial=np.inf)
            totals = np.minimum(rest[:, None], self.walk[np.ix_(self.served, fits)]).sum(axis=0)
            for place in np.argsort(totals, kind="stable"):
                if totals[place] >= best - _SHORTER:
                    break
                following = np.sort(np.append(others, fits[place]))
                if self._keeps_limits(now, following):
                    self.chosen[:] = False
                    self.chosen[following] = True
                    return True
        return False

    def _keeps_limits(self, before: IntArray, after: IntArray) -> bool:
        problem = self.problem
        if problem.limit_matrix is None:
            return True
        return _excess(problem, self.sites[after]) <= _excess(problem, self.sites[before]) + 1e-9

    def scheme(self) -> GivenScheme:
        """Return the scheme with the outlets as they now are."""
        sites = self.sites[self.chosen]
        saved = float(self.problem.site_cost[self.start.sites].sum())
        cost = self.start.cost - saved + float(self.problem.site_cost[sites].sum())
        return GivenScheme(cost, sites, self.start.edges, self.start.roots)


def _walks(problem: JointProblem, sites: IntArray) -> FloatArray:
    """Return the walk of each group to some sites, infinite where they do not serve it."""
    serves = sp.csr_array(problem.groups)[:, sites].toarray() > 0
    walk = sp.csr_array(problem.walk_m)[:, sites].toarray()
    return np.where(serves, walk, np.inf)


def _excess(problem: JointProblem, sites: IntArray) -> float:
    chosen = np.zeros(len(problem.site_node))
    chosen[sites] = 1.0
    value = problem.limit_matrix @ chosen  # type: ignore[operator]
    excess = 0.0
    if problem.limit_lower is not None:
        excess += float(np.maximum(problem.limit_lower - value, 0.0).sum())
    if problem.limit_upper is not None:
        excess += float(np.maximum(value - problem.limit_upper, 0.0).sum())
    return excess
