"""Step: where outlets may stand, and the fence lines they stand on."""

from dewpond.steps.candidates.find import find_candidates

__all__ = ["find_candidates"]
