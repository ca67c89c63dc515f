"""What a scheme amounts to: totals, and one verdict for each requirement."""

from dewpond.steps.appraisal.appraise import appraise

__all__ = ["appraise"]
