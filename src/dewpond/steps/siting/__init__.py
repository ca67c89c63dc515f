"""Step: the ground shared out among the chosen outlets, and what stays out of reach."""

from dewpond.steps.siting.assign import assign_ground

__all__ = ["assign_ground"]
