"""The priced schedule of a scheme: quantities, grants, stages, whole life."""

from dewpond.steps.costing.cost import cost_scheme

__all__ = ["cost_scheme"]
