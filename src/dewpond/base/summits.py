"""Head that water must keep over the ground along a pipe, so that no summit holds air."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from dewpond.base.surface import FloatArray

AT_THE_SOURCE_M, FULL_MARGIN_M = 25.0, 100.0
"""Pipe leaves a tank or spring below its water: up to the first distance ground as high as the
water is no summit, from the second on the margin is asked in full [m]; common practice, no
source."""


def margin_asked_m(
    way_m: npt.ArrayLike,
    ground_m: npt.ArrayLike,
    still_level_m: npt.ArrayLike,
    margin_m: float,
) -> FloatArray:
    """Return the head that water must keep over the ground at places along a pipe [m].

    Parameters
    ----------
    way_m : array_like of float
        Length of pipe from the source to each place [m].
    ground_m : array_like of float
        Ground level there [m].
    still_level_m : array_like of float
        Level of still water at the source [m].
    margin_m : float
        Head to keep away from the source [m].

    Returns
    -------
    array of float, broadcast
        -inf right at the source, where nothing is asked of ground that still water reaches;
        growing to its full height between the two distances above.

    Examples
    --------
    >>> margin_asked_m([10.0, 62.5, 400.0], 100.0, 101.0, 1.0).tolist()
    [-inf, 0.5, 1.0]
    """
    way = np.asarray(way_m, float)
    share = np.clip((way - AT_THE_SOURCE_M) / (FULL_MARGIN_M - AT_THE_SOURCE_M), 0.0, 1.0)
    reached = np.asarray(ground_m, float) <= np.asarray(still_level_m, float) + margin_m
    return np.where((way <= AT_THE_SOURCE_M) & reached, -np.inf, margin_m * share)
