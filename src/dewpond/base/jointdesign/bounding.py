"""Closes the gap at the root: rounds of cuts, with fixing and guided schemes in between."""

from __future__ import annotations

import numpy as np

from dewpond.base.jointdesign.construct import construct
from dewpond.base.jointdesign.cuts import Cut, CutFinder
from dewpond.base.jointdesign.fixing import useless_parts
from dewpond.base.jointdesign.improve import exchange_nodes, improve
from dewpond.base.jointdesign.master import Master, Relaxed
from dewpond.base.jointdesign.problem import BoolArray, FloatArray, IntArray
from dewpond.base.jointdesign.reduce import Reduction
from dewpond.base.jointdesign.scheme import SchemeMaker
from dewpond.base.jointdesign.search import Search

# Share of the groups looked at in one round, and how deep cuts are nested.
_SHARE = 0.25
_FEWEST = 12
_DEPTH = 12
# Cuts are sought at a point between the solution and the running mean of those before.
_TOWARDS_NEW = 0.5
_NO_RETURNS = 100
_STARTS = 4
# How far a solution is trusted when a scheme is started from it, drawn anew for each arc.
_TRUST = 0.5, 1.0
# Share of the attempts that a short heuristic makes.
_SHORT = 0.1


class RootBounding:
    """The cut loop on one network.

    Parameters
    ----------
    search : Search
    reduction : Reduction
    maker : SchemeMaker
    master : Master
        Already filled with the first cuts.
    """

    def __init__(
        self, search: Search, reduction: Reduction, maker: SchemeMaker, master: Master
    ) -> None:
        self.search, self.reduction, self.maker, self.master = search, reduction, maker, master
        self.network = reduction.network
        self.finder = CutFinder(self.network)
        groups = self.network.groups
        rows = np.split(groups.indices.astype(np.int64), groups.indptr[1:-1]) if groups.nnz else []
        self.members: list[IntArray] = [*rows, *np.flatnonzero(self.network.forced)[:, None]]
        self.dead = np.zeros(self.network.n_arcs + self.network.n_sites, dtype=bool)
        self.mean: tuple[FloatArray, FloatArray] | None = None

    def run(self) -> Relaxed | None:
        """Add cuts until none is broken or a limit is reached; return the last solution."""
        search = self.search
        relaxed: Relaxed | None = None
        while search.rounds < search.limits.rounds and not search.out_of_time():
            solved = self.master.solve(search.seconds_left)
            if solved is None:
                search.cut_short = True
                break
            relaxed = solved
            search.raise_bound(relaxed.value)
            if search.is_proven() or not np.isfinite(relaxed.value):
                break
            self.guided(relaxed)
            self.fix(relaxed)
            self.master.drop_idle_cuts()
            if search.is_proven() or not self.tighten(relaxed):
                break
            search.rounds += 1
            search.tell(0.6 * search.bound / max(search.best_cost, 1e-12))
        return relaxed

    def tighten(self, relaxed: Relaxed) -> int:
        """Add rows that the solution breaks; return how many."""
        added = self.master.add_cuts(self.separate(relaxed))
        arcs = self.master.broken_no_returns(relaxed.arcs, _NO_RETURNS)
        return added + self.master.add_no_returns(arcs)

    def separate(self, relaxed: Relaxed) -> list[Cut]:
        """Return broken cuts, sought at a middle point first."""
        arcs, sites = relaxed.arcs, relaxed.sites
        if self.mean is not None:
            arcs = _TOWARDS_NEW * arcs + (1 - _TOWARDS_NEW) * self.mean[0]
            sites = _TOWARDS_NEW * sites + (1 - _TOWARDS_NEW) * self.mean[1]
        self.mean = arcs, sites
        order = self.search.random.permutation(len(self.members))
        cuts = self._search_groups(arcs, sites, order)
        if not any(_broken(cut, relaxed) for cut in cuts):
            self.mean = None
            cuts += self._search_groups(relaxed.arcs, relaxed.sites, order)
        return cuts

    def _search_groups(self, arcs: FloatArray, sites: FloatArray, order: IntArray) -> list[Cut]:
        wanted = max(_FEWEST, int(_SHARE * len(order)))
        cuts: list[Cut] = []
        for group in order:
            found = self.finder.find(arcs, sites, self.members[group], _DEPTH)
            cuts += found
            wanted -= bool(found)
            if wanted <= 0:
                break
        return cuts

    def guided(self, relaxed: Relaxed) -> None:
        """Build a scheme where parts that the solution uses are cheap, and improve it a little."""
        self._guided_start(relaxed, self._hint(relaxed), self.search.attempts(_SHORT))

    def polish(self, relaxed: Relaxed) -> None:
        """Do the same at length, from another start as long as the last one found a better."""
        hint = self._hint(relaxed)
        for _ in range(_STARTS):
            before = self.search.best_cost
            self._guided_start(relaxed, hint, self.search.attempts(1.0))
            if self.search.is_proven() or self.search.best_cost >= before:
                return

    def _hint(self, relaxed: Relaxed) -> tuple[FloatArray, FloatArray]:
        """Return how much the solution uses each arc, in either direction, and each site."""
        edges = self.network.n_edges
        both = np.minimum(relaxed.arcs[:edges] + relaxed.arcs[edges : 2 * edges], 1.0)
        return np.concatenate([both, both, relaxed.arcs[2 * edges :]]), relaxed.sites

    def _guided_start(
        self,
        relaxed: Relaxed,
        hint: tuple[FloatArray, FloatArray],
        attempts: int,
    ) -> None:
        network, search = self.network, self.search
        trusted = hint[0] * search.random.uniform(*_TRUST, len(hint[0]))
        arcs, sites = network.arc_cost * (1 - trusted), network.site_cost * (1 - hint[1])
        source = int(np.argmax(relaxed.arcs[2 * network.n_edges :]))
        scheme = construct(self.maker, arcs, sites, source=source)
        if scheme is None or search.is_proven():
            return
        scheme = exchange_nodes(self.maker, scheme)
        scheme = improve(self.maker, scheme, search.random, attempts, search.out_of_time, hint)
        search.offer(self.reduction, scheme)

    def fix(self, relaxed: Relaxed) -> None:
        """Strike out what no better scheme uses, by the reduced costs of a solution."""
        self.strike_out(relaxed.value, relaxed.arc_price, relaxed.site_price)

    def strike_out(self, bound: float, arc_price: FloatArray, site_price: FloatArray) -> None:
        """Set to nought what no better scheme uses."""
        dead_arcs, dead_sites = useless_parts(
            self.network, bound, self.search.best_cost, arc_price, site_price
        )
        dead: BoolArray = np.concatenate([dead_arcs, dead_sites])
        fresh = np.flatnonzero(dead & ~self.dead)
        if len(fresh):
            self.dead |= dead
            zeros = np.zeros(len(fresh))
            self.master.set_bounds(fresh, zeros, zeros)


def _broken(cut: Cut, relaxed: Relaxed) -> bool:
    return bool(relaxed.arcs[cut.arcs].sum() + relaxed.sites[cut.sites].sum() < 1 - 1e-3)
