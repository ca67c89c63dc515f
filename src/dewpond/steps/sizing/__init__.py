"""The pipe for every run of the tree, at least cost, or why none will do."""

from dewpond.steps.sizing.size import size_pipe

__all__ = ["size_pipe"]
