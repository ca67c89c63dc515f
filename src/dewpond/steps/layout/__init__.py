"""Step: outlets and pipe chosen together, at least whole price, with a proven bound."""

from dewpond.steps.layout.choose import lay_out

__all__ = ["lay_out"]
