"""A bound on the cost of any tree, by dual ascent."""

from __future__ import annotations

import numpy as np

from dewpond.base.steiner.graph import FloatArray, Graph, IntArray


def dual_ascent(graph: Graph, root: int, terminals: IntArray) -> float:
    """Raise the duals of root cuts until saturated arcs lead from the root to every terminal.

    A cut round a terminal is raised by its least reduced cost; the smallest cut comes first.
    Each rise adds to the bound, and reduced costs never fall below zero, so the bound is valid.
    """
    tail = np.concatenate([graph.tail, graph.head])
    head = np.concatenate([graph.head, graph.tail])
    reduced = np.concatenate([graph.cost, graph.cost])
    arcs_into = _arcs_by_head(graph.count, head)
    cuts = {int(t): _Cut(int(t), graph.count, arcs_into) for t in terminals if t != root}
    bound = 0.0
    while cuts:
        terminal = min(cuts, key=lambda t: (cuts[t].size, t))
        cut = cuts[terminal]
        entering = cut.spread(tail, reduced, arcs_into)
        # A cut that holds another waiting terminal is left to that one's smaller cut.
        if cut.inside[root] or any(cut.inside[t] for t in cuts if t != terminal):
            del cuts[terminal]
        elif cut.size <= min(other.size for other in cuts.values()):
            rise = float(reduced[entering].min())
            bound += rise
            # Taking off the least itself leaves exact zeros: saturation needs no tolerance.
            reduced[entering] -= rise
    return bound


def _arcs_by_head(count: int, head: IntArray) -> list[IntArray]:
    order = np.argsort(head, kind="stable")
    return np.split(order, np.searchsorted(head[order], np.arange(1, count)))


class _Cut:
    """The nodes from which saturated arcs lead to one terminal; it only grows."""

    def __init__(self, terminal: int, count: int, arcs_into: list[IntArray]) -> None:
        self.inside = np.zeros(count, dtype=bool)
        self.inside[terminal] = True
        self.size = 1
        self._entering = arcs_into[terminal]

    def spread(self, tail: IntArray, reduced: FloatArray, arcs_into: list[IntArray]) -> IntArray:
        """Take in what saturated arcs reach by now; return the arcs that enter from outside."""
        while True:
            self._entering = self._entering[~self.inside[tail[self._entering]]]
            new = np.unique(tail[self._entering[reduced[self._entering] == 0]])
            if new.size == 0:
                return self._entering
            self.inside[new] = True
            self.size += new.size
            self._entering = np.concatenate([self._entering, *(arcs_into[n] for n in new)])
