"""Valves and points that let a section be shut, metered and drained."""

from dewpond.steps.isolation.place import place_isolation

__all__ = ["place_isolation"]
