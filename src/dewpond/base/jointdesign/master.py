"""The linear programme over the cuts gathered so far, kept warm in HiGHS.

Columns: arcs of the network, then sites, then one slack for each broken side of a limit row.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import highspy
import numpy as np
import scipy.sparse as sp

from dewpond.base.errors import SolverError
from dewpond.base.jointdesign.cuts import Cut
from dewpond.base.jointdesign.network import Network
from dewpond.base.jointdesign.problem import BoolArray, FloatArray, IntArray
from dewpond.base.optimiser import quiet_solver

# With more columns the interior-point method from scratch is faster than the simplex method from
# the last basis (ten times at 6,000 columns), with fewer not.
_MANY_COLUMNS = 3_000
# A row broken by less counts as kept.
_BROKEN = 0.01
# A cut whose dual is smaller has no say in the bound; after so many rounds of that it may go.
_TIGHT = 1e-9
_IDLE_ROUNDS = 2
_WORTH_DROPPING = 0.05


@dataclass(frozen=True, eq=False)
class Relaxed:
    """A solved linear programme.

    Attributes
    ----------
    value : float
        Its objective, a lower bound; infinite when no solution is left.
    arcs, sites : array of float
        Values of the variables.
    arc_price, site_price : array of float
        Reduced costs.
    """

    value: float
    arcs: FloatArray
    sites: FloatArray
    arc_price: FloatArray
    site_price: FloatArray


class Master:
    """The rows of a network in HiGHS.

    Parameters
    ----------
    network : Network
    """

    def __init__(self, network: Network) -> None:
        self.network = network
        self.n_columns = network.n_arcs + network.n_sites + 2 * network.limit_matrix.shape[0]
        large = self.n_columns > _MANY_COLUMNS
        self.solver = quiet_solver({"threads": 1, "solver": "ipm" if large else "simplex"})
        self._cuts: dict[bytes | None, Cut] = {}
        # One entry for each row that came after the fixed ones: its cut's key, and for how
        # many rounds it has not been tight.
        self._row_key: list[bytes | None] = []
        self._idle = np.zeros(0, dtype=np.int64)
        self._into = self._entering()
        self._has_no_return = np.zeros(network.n_arcs, dtype=bool)
        self.upper = np.ones(self.n_columns)
        self.lower = np.zeros(self.n_columns)
        self._lay_columns()
        self._lay_rows()

    # --- building -----------------------------------------------------------------------

    def _lay_columns(self) -> None:
        network = self.network
        slacks = 2 * network.limit_matrix.shape[0]
        cost = np.concatenate(
            [network.arc_cost, network.site_cost, np.full(slacks, network.limit_penalty)]
        )
        self.upper[network.n_arcs + network.n_sites :] = np.inf
        self.lower[network.n_arcs : network.n_arcs + network.n_sites] = network.forced
        none = np.empty(0)
        self.solver.addCols(
            self.n_columns, cost, self.lower, self.upper, 0,
            np.zeros(self.n_columns, dtype=np.int32), none.astype(np.int32), none,
        )  # fmt: skip

    def _lay_rows(self) -> None:
        network, arcs, sites = self.network, self.network.n_arcs, self.network.n_sites
        blank = sp.csr_array((network.n_groups, arcs))
        self._add(
            sp.hstack([blank, network.groups, self._no_slack(network.n_groups)]), 1.0, np.inf
        )
        entering = self._into
        at_site = sp.csr_array(
            (np.ones(sites), (network.site_node, np.arange(sites))), (network.n_nodes, sites)
        )
        # A site with an outlet has pipe coming in.
        needs = sp.hstack(
            [entering[network.site_node], -sp.eye_array(sites), self._no_slack(sites)]
        )
        self._add(needs, 0.0, np.inf)
        nodes = self._no_slack(network.n_nodes)
        self._add(sp.hstack([entering, sp.csr_array(at_site.shape), nodes]), -np.inf, 1.0)
        # Water that enters a node leaves it again or is drunk there.
        balance = sp.csr_array(sp.hstack([entering - self._leaving(), -at_site, nodes]))
        if network.leads_out is not None:
            balance = balance[np.flatnonzero(~network.leads_out)]
        self._add(balance, -np.inf, 0.0)
        self._add_sources()
        self._add_limits()

    def _no_slack(self, rows: int) -> sp.csr_array:
        return sp.csr_array((rows, 2 * self.network.limit_matrix.shape[0]))

    def _entering(self) -> sp.csr_array:
        network = self.network
        shape = (network.n_nodes, network.n_arcs)
        entry = (np.ones(network.n_arcs), (network.head, np.arange(network.n_arcs)))
        return sp.csr_array(entry, shape)

    def _leaving(self) -> sp.csr_array:
        network, pipe = self.network, 2 * self.network.n_edges
        entry = (np.ones(pipe), (network.tail[:pipe], np.arange(pipe)))
        return sp.csr_array(entry, (network.n_nodes, network.n_arcs))

    def _add_sources(self) -> None:
        network = self.network
        row = np.zeros((1, self.n_columns))
        row[0, 2 * network.n_edges : network.n_arcs] = 1.0
        most = np.inf if network.several_sources else 1.0
        self._add(sp.csr_array(row), 0.0, most)

    def _add_limits(self) -> None:
        network, rows = self.network, self.network.limit_matrix.shape[0]
        if rows:
            slack = sp.eye_array(rows)
            blank = sp.csr_array((rows, network.n_arcs))
            matrix = sp.hstack([blank, network.limit_matrix, slack, -slack])
            self._add(matrix, network.limit_lower, network.limit_upper)

    def _add(
        self, matrix: sp.sparray, lower: float | FloatArray, upper: float | FloatArray
    ) -> None:
        rows = sp.csr_array(matrix, dtype=float)
        rows.eliminate_zeros()
        if rows.shape[0]:
            self.solver.addRows(
                rows.shape[0],
                np.broadcast_to(np.asarray(lower, dtype=float), rows.shape[0]).copy(),
                np.broadcast_to(np.asarray(upper, dtype=float), rows.shape[0]).copy(),
                rows.nnz,
                rows.indptr[:-1].astype(np.int32),
                rows.indices.astype(np.int32),
                rows.data,
            )

    def add_cuts(self, cuts: Iterable[Cut]) -> int:
        """Add the cuts that are new; return how many."""
        fresh = []
        for cut in cuts:
            key = cut.key()
            if key not in self._cuts:
                self._cuts[key] = cut
                self._row_key.append(key)
                fresh.append(np.concatenate([cut.arcs, cut.sites + self.network.n_arcs]))
        if fresh:
            size = [len(columns) for columns in fresh]
            indptr = np.concatenate([[0], np.cumsum(size)])
            data, columns = np.ones(indptr[-1]), np.concatenate(fresh)
            shape = (len(fresh), self.n_columns)
            self._add(sp.csr_array((data, columns, indptr), shape), 1.0, np.inf)
            self._idle = np.append(self._idle, np.zeros(len(fresh), dtype=np.int64))
        return len(fresh)

    def drop_idle_cuts(self) -> None:
        """Take out cuts that have not been tight for some rounds; they may come back."""
        n_fixed = self.solver.getNumRow() - len(self._row_key)
        self._idle = np.where(self._has_say(), 0, self._idle + 1)
        removable = np.array([key is not None for key in self._row_key], dtype=bool)
        idle = np.flatnonzero(removable & (self._idle > _IDLE_ROUNDS))
        if len(idle) < _WORTH_DROPPING * self.solver.getNumRow():
            return
        self._delete_rows(n_fixed + idle)
        for row in idle:
            del self._cuts[self._row_key[row]]
        gone = set(idle.tolist())
        self._row_key = [key for row, key in enumerate(self._row_key) if row not in gone]
        self._idle = np.delete(self._idle, idle)

    def tight_cuts(self) -> list[Cut]:
        """Return the cuts that hold up the bound of the solution just found."""
        tight = np.flatnonzero(self._has_say())
        keys = [self._row_key[row] for row in tight]
        return [self._cuts[key] for key in keys if key is not None]

    def _has_say(self) -> BoolArray:
        """Return which rows after the fixed ones have a part in the solution just found."""
        solution = self.solver.getSolution()
        if not solution.dual_valid:
            # Rows went since the last solution: nothing can be said against those that stayed.
            return np.ones(len(self._row_key), dtype=bool)
        n_fixed = self.solver.getNumRow() - len(self._row_key)
        dual = np.array(solution.row_dual)[n_fixed:]
        return np.asarray(np.abs(dual) > _TIGHT)

    def _delete_rows(self, rows: IntArray) -> None:
        """Delete rows and keep the rest of the basis, in which idle rows are basic."""
        basis = self.solver.getBasis()
        status = list(basis.row_status)
        self.solver.deleteRows(len(rows), rows.astype(np.int32))
        gone = set(rows.tolist())
        basis.row_status = [kind for row, kind in enumerate(status) if row not in gone]
        self.solver.setBasis(basis)

    def add_no_returns(self, arcs: IntArray) -> int:
        """Add rows for some arcs of pipe: what leaves a node came from elsewhere than its goal.

        The arcs into the node, but for the one straight back, carry at least as much as the arc.
        """
        network, edges = self.network, self.network.n_edges
        fresh = arcs[~self._has_no_return[arcs]]
        self._has_no_return[fresh] = True
        rows = np.arange(len(fresh))
        back = (fresh + edges) % (2 * edges)
        shape = (len(fresh), network.n_arcs)
        own = sp.csr_array((np.ones(len(fresh)), (rows, fresh)), shape)
        returning = sp.csr_array((np.ones(len(fresh)), (rows, back)), shape)
        matrix = self._into[network.tail[fresh]] - own - returning
        blank = sp.csr_array((len(fresh), self.n_columns - network.n_arcs))
        self._add(sp.hstack([matrix, blank]), 0.0, np.inf)
        self._row_key += [None] * len(fresh)
        self._idle = np.append(self._idle, np.zeros(len(fresh), dtype=np.int64))
        return len(fresh)

    def broken_no_returns(self, arcs: FloatArray, most: int) -> IntArray:
        """Return the arcs of pipe whose row of this kind is broken most, at most so many."""
        network, edges = self.network, self.network.n_edges
        pipe = np.arange(2 * edges)
        both = arcs[pipe] + arcs[(pipe + edges) % (2 * edges)]
        excess = both - (self._into @ arcs)[network.tail[pipe]]
        worst = np.argsort(-excess, kind="stable")[:most]
        return np.asarray(worst[excess[worst] > _BROKEN])

    # --- solving ------------------------------------------------------------------------

    def set_bounds(self, columns: IntArray, lower: FloatArray, upper: FloatArray) -> None:
        """Change the bounds of some columns."""
        self.lower[columns], self.upper[columns] = lower, upper
        self.solver.changeColsBounds(
            len(columns), columns.astype(np.int32), self.lower[columns], self.upper[columns]
        )

    def solve(self, seconds: float = np.inf) -> Relaxed | None:
        """Solve the linear programme from the last basis; None when the time runs out."""
        # For linear programmes the solver counts the time of all its runs together.
        self.solver.setOptionValue("time_limit", self.solver.getRunTime() + seconds)
        self.solver.run()
        status = self.solver.getModelStatus()
        arcs, sites = self.network.n_arcs, self.network.n_sites
        if status == highspy.HighsModelStatus.kInfeasible:
            none = np.zeros(arcs), np.zeros(sites), np.zeros(arcs), np.zeros(sites)
            return Relaxed(np.inf, *none)
        if status == highspy.HighsModelStatus.kTimeLimit:
            return None
        if status != highspy.HighsModelStatus.kOptimal:
            message = f"the linear programme stopped: {self.solver.modelStatusToString(status)}"
            raise SolverError(message)
        solution = self.solver.getSolution()
        value, price = np.array(solution.col_value), np.array(solution.col_dual)
        end = arcs + sites
        return Relaxed(
            float(self.solver.getInfo().objective_function_value),
            value[:arcs].clip(0, 1), value[arcs:end].clip(0, 1),
            price[:arcs], price[arcs:end],
        )  # fmt: skip
