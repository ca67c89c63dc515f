"""One holding planned several ways, side by side."""

from dewpond.compare.run import AS_IT_STANDS, compare_plans
from dewpond.compare.shorthand import read_shorthand
from dewpond.compare.vary import varied_project

__all__ = ["AS_IT_STANDS", "compare_plans", "read_shorthand", "varied_project"]
