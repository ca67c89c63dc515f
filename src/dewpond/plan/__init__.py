"""One holding planned: the steps composed, and no algorithm."""

from dewpond.plan.holding import check_holding, demand_of, library_versions, plan_holding

__all__ = ["check_holding", "demand_of", "library_versions", "plan_holding"]
