"""How high water is to stand over the ground along a pipe."""

from __future__ import annotations

import numpy as np

from dewpond.base.summits import margin_asked_m
from dewpond.base.surface import FloatArray

TANK_INLET_HEAD_M = 1.0
"""Head that the float valve of a break tank takes [m]; common practice, no source."""


def level_asked_m(
    way_m: FloatArray,
    ground_m: FloatArray,
    still_m: float,
    margin_m: float,
    clearance_m: FloatArray | float = 0.0,
) -> FloatArray:
    """Return the level that water must keep over pipe that leaves still water or a valve [m].

    Right there pipe leaves below the water and nothing is asked (-inf); from there the margin
    grows to its full height over the first stretch.

    Parameters
    ----------
    way_m : array of float, shape (points,)
        Distance from the still water [m].
    ground_m : array of float, shape (points,)
    still_m : float
        Level of the still water [m].
    margin_m : float
        Height to keep over the ground [m].
    clearance_m : array of float, shape (points,), optional
        Height to keep in full wherever anything is asked, where it is the larger [m].
    """
    grown = margin_asked_m(way_m, ground_m, still_m, margin_m)
    kept = ground_m + np.maximum(grown, clearance_m)
    return np.where(np.isneginf(grown), -np.inf, kept)
