"""What one search carries along: its clock, its counts, its best scheme and its bound."""

from __future__ import annotations

import math
import time
from dataclasses import dataclass, field

import numpy as np

from dewpond.base.jointdesign.network import Network
from dewpond.base.jointdesign.problem import IntArray, JointLimits, JointProblem
from dewpond.base.jointdesign.reduce import Reduction
from dewpond.base.jointdesign.scheme import Scheme, SchemeMaker
from dewpond.base.progress import Progress

# Costs closer than this share count as equal.
SAME_COST = 1e-7
# The attempts of the local search grow with the number of sites beyond this.
_USUAL_SITES = 300


@dataclass(frozen=True, eq=False)
class GivenScheme:
    """A scheme in the numbers of the problem as given, ascending."""

    cost: float
    sites: IntArray
    edges: IntArray
    roots: IntArray


@dataclass
class Search:
    """The running state of one search.

    Attributes
    ----------
    problem, limits
        As given.
    random : numpy.random.Generator
        The only source of chance.
    best : GivenScheme or None
    bound : float
        Greatest lower bound proven so far.
    rounds, nodes : int
        Rounds of cuts and branch-and-bound nodes used.
    cut_short : bool
        Whether the wall time ended any part of the search.
    """

    problem: JointProblem
    limits: JointLimits
    progress: Progress | None
    random: np.random.Generator
    started: float = field(default_factory=time.monotonic)
    best: GivenScheme | None = None
    bound: float = 0.0
    rounds: int = 0
    nodes: int = 0
    cut_short: bool = False

    @property
    def best_cost(self) -> float:
        """Cost of the best scheme, infinite before there is one."""
        return np.inf if self.best is None else self.best.cost

    @property
    def seconds(self) -> float:
        """Wall time used so far."""
        return time.monotonic() - self.started

    @property
    def seconds_left(self) -> float:
        """Wall time left."""
        return max(0.0, self.limits.seconds - self.seconds)

    def out_of_time(self) -> bool:
        """Return whether the wall time is over, and remember that it was."""
        over = self.seconds >= self.limits.seconds
        self.cut_short |= over
        return over

    def attempts(self, share: float) -> int:
        """Return how often to tear up and rebuild: a share of the limit, more for many sites."""
        size = max(1.0, len(self.problem.site_cost) / _USUAL_SITES)
        return math.ceil(share * self.limits.restarts * size)

    def is_proven(self) -> bool:
        """Return whether the gap asked for is reached."""
        if self.best is None:
            return False
        wanted = max(self.limits.gap, SAME_COST)
        return self.best_cost - self.bound <= wanted * self.best_cost

    def raise_bound(self, bound: float) -> None:
        """Take over a lower bound if it is greater; never above the best cost."""
        self.bound = max(self.bound, min(bound, self.best_cost))

    def offer(self, reduction: Reduction, scheme: Scheme | None) -> bool:
        """Take over a scheme if it is cheaper; return whether it was."""
        if scheme is None or scheme.cost >= self.best_cost * (1 - SAME_COST):
            return False
        self.best = to_given(reduction, scheme)
        return True

    def tell(self, share: float) -> None:
        """Report progress, if anyone listens."""
        if self.progress is not None:
            self.progress(min(1.0, share))


def to_given(reduction: Reduction, scheme: Scheme) -> GivenScheme:
    """Return a scheme of a network in the numbers of the given problem."""
    network: Network = reduction.network
    pipe = scheme.arcs[scheme.arcs < 2 * network.n_edges]
    opened = scheme.arcs[scheme.arcs >= 2 * network.n_edges] - 2 * network.n_edges
    edges = [part for arc in pipe for part in reduction.edges[arc % network.n_edges]]
    return GivenScheme(
        scheme.cost,
        np.sort(reduction.sites[scheme.outlets]),
        np.unique(np.array(edges, dtype=np.int64)),
        np.sort(reduction.roots[opened]),
    )


def from_given(search: Search, reduction: Reduction, maker: SchemeMaker) -> Scheme | None:
    """Return the best scheme on a (smaller) network, or None where it does not fit there."""
    best = search.best
    if best is None:
        return None
    roots = search.problem.root_node[best.roots]
    return _rebuilt(search.problem, reduction, maker, best.sites, best.edges, roots)


def from_start(search: Search, reduction: Reduction, maker: SchemeMaker) -> Scheme | None:
    """Return the scheme to begin from, or None where none is given or it does not hold."""
    problem = search.problem
    if not len(problem.start_sites):
        return None
    return _rebuilt(
        problem, reduction, maker, problem.start_sites, problem.start_edges, problem.root_node[:1]
    )


def _rebuilt(
    problem: JointProblem,
    reduction: Reduction,
    maker: SchemeMaker,
    sites: IntArray,
    edges: IntArray,
    roots: IntArray,
) -> Scheme | None:
    """Return the cheapest tree over the nodes of a given scheme; None where some are gone."""
    touched = np.zeros(problem.n_nodes, dtype=bool)
    touched[np.asarray(problem.edges).reshape(-1, 2)[edges]] = True
    touched[roots] = True
    outlets = np.isin(reduction.sites, sites)
    if outlets.sum() < len(sites) or (maker.cover(outlets) == 0).any():
        return None
    return maker.build(np.append(touched[reduction.nodes], True), outlets)
