"""How sure a scheme is, its heights, demand and supply being what they are."""

from dewpond.steps.confidence.assess import assess_confidence

__all__ = ["assess_confidence"]
