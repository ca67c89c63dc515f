"""Least-cost pipe for every stretch of a tree, proven least, or the reason why none will do.

Arrays only: pipes, options and load cases are positions; heads in metres, flows in m³/s.
"""

from dewpond.base.pipesizing.breaks import PressureBreak, find_pressure_breaks
from dewpond.base.pipesizing.model import (
    Checks,
    PipeOptions,
    PipeTree,
    Shortfall,
    Sizing,
    SizingRules,
    make_options,
)
from dewpond.base.pipesizing.size import size_pipes

__all__ = [
    "Checks",
    "PipeOptions",
    "PipeTree",
    "PressureBreak",
    "Shortfall",
    "Sizing",
    "SizingRules",
    "find_pressure_breaks",
    "make_options",
    "size_pipes",
]
