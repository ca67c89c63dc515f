"""What would mend a source that falls short, each with its number and whether it is enough."""

from dewpond.steps.supply.remedies.gather import find_remedies

__all__ = ["find_remedies"]
