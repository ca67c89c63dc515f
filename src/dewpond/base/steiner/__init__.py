"""Cheapest tree that joins given nodes of a graph: a good one, and a bound on any."""

from dewpond.base.steiner.solve import steiner_bound, steiner_tree

__all__ = ["steiner_bound", "steiner_tree"]
