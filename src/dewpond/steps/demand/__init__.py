"""Water needed on the peak day, by mob and by paddock."""

from dewpond.steps.demand.estimate import estimate_demand

__all__ = ["estimate_demand"]
