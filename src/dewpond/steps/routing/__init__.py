"""The pipe tree that joins the chosen outlets to a source."""

from dewpond.steps.routing.route import route_pipe

__all__ = ["route_pipe"]
