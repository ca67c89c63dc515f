"""The values that go into and come out of the joint choice of outlets and pipe."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import scipy.sparse as sp

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]


def _none() -> IntArray:
    return np.empty(0, dtype=np.int64)


@dataclass(frozen=True, eq=False)
class JointProblem:
    """Sites that may carry an outlet, and the graph along which pipe may be laid.

    Costs are in one currency and never negative.

    Attributes
    ----------
    n_nodes : int
        Number of nodes of the pipe graph.
    edges : array of int, shape (m, 2)
        The two end nodes of each edge; parallel edges and loops are allowed.
    edge_cost : array of float, shape (m,)
        Whole price of laying pipe along each edge.
    site_node : array of int, shape (s,)
        Node at which each site stands; several sites may share a node.
    site_cost : array of float, shape (s,)
        Whole price of an outlet at each site.
    root_node : array of int, shape (r,)
        Node of each source.
    groups : scipy.sparse.csr_array, shape (g, s)
        Non-zero where a site serves a group; each group needs one chosen site.
    root_cost : array of float, shape (r,), optional
        Price of opening each source; nothing by default.
    several_roots : bool
        Whether more than one source may be opened; otherwise the best one is.
    forced_sites, forbidden_sites : array of int
        Sites that must, or must not, carry an outlet.
    limit_matrix : scipy.sparse.csr_array, shape (k, s), optional
        Linear limits on the sites, for instance one row of ones for each paddock.
    limit_lower, limit_upper : array of float, shape (k,), optional
        Least and greatest value of each limit row; infinite where there is none.
    walk_m : scipy.sparse.csr_array, shape (g, s), optional
        Walk of each group to each site that serves it [m]; among schemes of equal cost the one
        with the shorter sum of walks is preferred.
    start_sites, start_edges : array of int
        A scheme to begin from, none by default; one that does not hold is passed over.
    """

    n_nodes: int
    edges: IntArray
    edge_cost: FloatArray
    site_node: IntArray
    site_cost: FloatArray
    root_node: IntArray
    groups: sp.csr_array
    root_cost: FloatArray | None = None
    several_roots: bool = False
    forced_sites: IntArray = field(default_factory=_none)
    forbidden_sites: IntArray = field(default_factory=_none)
    limit_matrix: sp.csr_array | None = None
    limit_lower: FloatArray | None = None
    limit_upper: FloatArray | None = None
    walk_m: sp.csr_array | None = None
    start_sites: IntArray = field(default_factory=_none)
    start_edges: IntArray = field(default_factory=_none)


@dataclass(frozen=True)
class JointLimits:
    """When the search may stop short of a proof.

    All but `seconds` are counts, so that the same input gives the same scheme whatever the
    machine.

    Attributes
    ----------
    gap : float
        Share of the cost that may stay unproven.
    rounds : int
        Rounds of cuts at the root.
    nodes : int
        Branch-and-bound nodes in all.
    restarts : int
        Times that the heuristic tears up part of a scheme and rebuilds it, in one run and for
        300 sites; more in proportion where there are more.
    seconds : float
        Wall time; a search that it cuts short says that it may not reproduce.
    random_state : int
        Where every random choice starts from.
    """

    gap: float = 0.0
    rounds: int = 200
    nodes: int = 20_000
    restarts: int = 400
    seconds: float = 120.0
    random_state: int = 20_240_229


@dataclass(frozen=True, eq=False)
class JointDesign:
    """The chosen outlets and pipe, and how good they are known to be.

    Attributes
    ----------
    sites, edges, roots : array of int
        Positions of the chosen sites, edges and sources, ascending.
    cost, bound : float
        Whole cost of the scheme, and the least that any scheme could cost.
    status : str
        "optimal", "within gap", or which limit ended the search.
    rounds, nodes : int
        Rounds of cuts and branch-and-bound nodes used.
    seconds : float
        Wall time used.
    reproducible : bool
        False when the wall time cut the search short.
    unreachable_groups : array of int
        Groups that no allowed site joined to a source can serve; left out of the problem.
    unreachable_sites : array of int
        Forced sites that no pipe can join to a source; left out of the scheme.
    broken_limits : array of int
        Limit rows that the scheme does not keep, because no scheme found could.
    """

    sites: IntArray
    edges: IntArray
    roots: IntArray
    cost: float
    bound: float
    status: str
    rounds: int
    nodes: int
    seconds: float
    reproducible: bool
    unreachable_groups: IntArray
    unreachable_sites: IntArray
    broken_limits: IntArray

    @property
    def gap(self) -> float:
        """Share of the cost that is not proven necessary, 0 when proven least."""
        return max(0.0, (self.cost - self.bound) / self.cost) if self.cost > 0 else 0.0
