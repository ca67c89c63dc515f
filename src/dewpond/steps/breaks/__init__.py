"""Paddocks cut into breaks by temporary fence, each with water."""

from dewpond.steps.breaks.cut import cut_breaks

__all__ = ["cut_breaks"]
