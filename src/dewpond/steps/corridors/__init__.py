"""The ways that pipe may take: a priced graph over fences, tracks and open ground."""

from dewpond.steps.corridors.lay import lay_corridors

__all__ = ["lay_corridors"]
