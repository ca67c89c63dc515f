"""Read a holding: paddocks, features, stock, sources and heights, checked and repaired."""

from dewpond.steps.read.holding import read_holding

__all__ = ["read_holding"]
