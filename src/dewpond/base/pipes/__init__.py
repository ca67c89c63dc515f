"""Pipe that can be bought: sizes, pressure classes, prices, and what pressure each may carry."""

from dewpond.base.pipes.strength import (
    DESIGN_COEFFICIENT_WATER,
    PRESSURE_CLASSES_BAR,
    SHORT_TERM_MODULUS_PE_PA,
    WORKING_SHARE_WITHOUT_SURGE,
    pressure_class_bar,
    rated_pressure_bar,
    surge_m,
    temperature_factor,
    wave_speed_m_s,
)
from dewpond.base.pipes.table import (
    FloatValve,
    PipeSize,
    read_fittings,
    read_pipe_table,
    working_head_m,
    working_head_without_surge_m,
)

__all__ = [
    "DESIGN_COEFFICIENT_WATER",
    "PRESSURE_CLASSES_BAR",
    "SHORT_TERM_MODULUS_PE_PA",
    "WORKING_SHARE_WITHOUT_SURGE",
    "FloatValve",
    "PipeSize",
    "pressure_class_bar",
    "rated_pressure_bar",
    "read_fittings",
    "read_pipe_table",
    "surge_m",
    "temperature_factor",
    "wave_speed_m_s",
    "working_head_m",
    "working_head_without_surge_m",
]
