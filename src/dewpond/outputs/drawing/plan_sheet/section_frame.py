"""The frame of a long section: metres along and up as millimetres of paper."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from dewpond.base.surface import FloatArray
from dewpond.outputs.drawing.scales import round_up

TITLE_MM, LABELS_MM, ELBOW_MM, BAND_MM, AXIS_MM = 7.0, 15.5, 2.5, 7.2, 4.2
"""Heights, on A4, of what stands above a profile and below it."""
BELOW_MM, _ABOVE_MM = 5.0, 2.0
"""Room left bare in a profile below the lowest ground and above the highest water."""
STEPS = (1, 2, 5, 10)
"""Steps of the axes are these times a power of ten."""
_LABEL_GAP_MM, _TICKS_MM = 5.2, 5.0


@dataclass(frozen=True)
class SectionScales:
    """Scales of all sections of a set.

    Attributes
    ----------
    along, up : float
        Denominators.
    height_mm : float
        Height of every profile on paper.
    rows : int
        Rows of sections on a sheet.
    """

    along: float
    up: float
    height_mm: float
    rows: int


@dataclass(frozen=True)
class Place:
    """Where a section stands: left end of its line, foot of its row, right end of its room."""

    left_mm: float
    foot_mm: float
    right_mm: float


def around_mm(enlarged: float) -> float:
    """Return the height [mm] of what stands above and below a profile."""
    return (TITLE_MM + LABELS_MM + ELBOW_MM + BAND_MM + AXIS_MM) * enlarged


def label_gap_mm(enlarged: float) -> float:
    """Return the room that the upright label of a stop takes along the line."""
    return _LABEL_GAP_MM * enlarged


def profile_mm(low_m: float, high_m: float, up: float) -> float:
    """Return the height on paper that a profile between two levels takes."""
    return (high_m - low_m) * 1000 / up + BELOW_MM + _ABOVE_MM


def level_step(up: float, enlarged: float, factor: float) -> float:
    """Return the round step of the level axis, in units of `factor` a metre."""
    return round_up(_TICKS_MM * enlarged * up / 1000 * factor, STEPS)


@dataclass(frozen=True, eq=False)
class Frame:
    """The frame of a profile: turns metres along and up into millimetres of paper."""

    left_mm: float
    foot_mm: float
    right_mm: float
    top_mm: float
    start_m: float
    low_m: float
    scales: SectionScales

    def x(self, distance_m: Any) -> FloatArray:
        """Return where distances from the source [m] stand across the page [mm]."""
        along = np.asarray(distance_m, dtype=float) - self.start_m
        return np.asarray(self.left_mm + along * 1000 / self.scales.along)

    def y(self, level_m: Any) -> FloatArray:
        """Return where levels [m] stand up the page [mm]."""
        rise = np.asarray(level_m, dtype=float) - self.low_m
        return np.asarray(self.foot_mm + rise * 1000 / self.scales.up)
