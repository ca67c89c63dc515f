"""Whether the source carries the scheme, what storage or pump it takes, and what would help."""

from dewpond.steps.supply.judge import judge_supply

__all__ = ["judge_supply"]
