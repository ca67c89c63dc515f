"""Draws at very many places: each given its nearest neighbours among those before it."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from dewpond.base.heighterror.model import (
    ErrorPoints,
    FloatArray,
    HeightError,
    correlation,
    short_factors,
)

IntArray = npt.NDArray[np.intp]

NEIGHBOURS = 16
"""Neighbours that stand for all the places before one."""

_BLOCK_PLACES = 4_000
_JITTER = 1e-10


def draw_sequentially(
    error: HeightError, places: ErrorPoints, count: int, random: np.random.Generator
) -> FloatArray:
    """Draw the error at many distinct places, shape (count, n).

    The short and the long part are drawn apart and added. In each, a place is drawn from its
    distribution given the `NEIGHBOURS` nearest of the places drawn before it (Vecchia 1988,
    J. R. Statist. Soc. B 50: 297-312, from memory). Places come in an order from coarse to fine,
    each as far as can be from those before, so that the first carry what is common to the whole
    farm and the last what changes within metres. One exponential part alone is all but told by
    its neighbours; both together are not, for the short part hides the long one. At 900 places,
    scattered or along pipes, the covariances drawn are within 1.5 % of the variance of the
    field's, and the standard deviations of heads within 1 % (measured in the tests). Time grows
    with n², with a small factor, not with n³.
    """
    order, nearest = _coarse_to_fine(places)
    easting, northing = places.easting_m[order], places.northing_m[order]
    share, sigma_m = error.long_share, error.standard_deviation_m
    drawn = np.zeros((len(places), count))
    short_m = sigma_m * np.sqrt(1 - share) * short_factors(error, places.slope, len(places))
    long_m = np.full(len(places), sigma_m * np.sqrt(share))
    for range_m, deviation_m in ((error.short_range_m, short_m), (error.long_range_m, long_m)):
        noise = random.standard_normal((len(places), count))
        if deviation_m.any():
            part = _one_part(range_m, easting, northing, nearest, noise)
            drawn[order] += part * deviation_m[order, None]
    return np.ascontiguousarray(drawn.T)


def _one_part(
    range_m: float,
    easting: FloatArray,
    northing: FloatArray,
    nearest: IntArray,
    noise: FloatArray,
) -> FloatArray:
    """Turn white noise, shape (n, count), into an exponential field of unit variance."""
    weights, left_over = _weights(range_m, easting, northing, nearest)
    drawn = noise * left_over[:, None]
    for position in range(1, len(drawn)):
        before = min(position, NEIGHBOURS)
        drawn[position] += weights[position, :before] @ drawn[nearest[position, :before]]
    return drawn


def _coarse_to_fine(places: ErrorPoints) -> tuple[IntArray, IntArray]:
    """Return the order, and for each position in it its nearest earlier positions, shape (n, m).

    The first place is the one nearest the middle, each next one the farthest from all before it.
    """
    total = len(places)
    easting = places.easting_m - places.easting_m.mean()
    northing = places.northing_m - places.northing_m.mean()
    order = np.empty(total, dtype=np.intp)
    nearest = np.zeros((total, NEIGHBOURS), dtype=np.intp)
    gap_m2 = np.full(total, np.inf)
    current = int(np.argmin(easting**2 + northing**2))
    for position in range(total):
        order[position] = current
        distance_m2 = (easting - easting[current]) ** 2 + (northing - northing[current]) ** 2
        earlier = distance_m2[order[:position]]
        if position > NEIGHBOURS:
            nearest[position] = np.argpartition(earlier, NEIGHBOURS - 1)[:NEIGHBOURS]
        else:
            nearest[position, :position] = np.arange(position)
        np.minimum(gap_m2, distance_m2, out=gap_m2)
        gap_m2[current] = -1.0
        current = int(np.argmax(gap_m2))
    return order, nearest


def _weights(
    range_m: float, easting: FloatArray, northing: FloatArray, nearest: IntArray
) -> tuple[FloatArray, FloatArray]:
    """Return the weights of the neighbours, shape (n, m), and the deviation left over, (n,)."""
    total = len(easting)
    weights = np.zeros((total, NEIGHBOURS))
    left_over = np.ones(total)
    seat = np.arange(NEIGHBOURS)
    for start in range(0, total, _BLOCK_PLACES):
        rows = np.arange(start, min(start + _BLOCK_PLACES, total))
        x, y = easting[nearest[rows]], northing[nearest[rows]]
        among = correlation(
            np.hypot(x[:, :, None] - x[:, None, :], y[:, :, None] - y[:, None, :]), range_m
        )
        shared = correlation(np.hypot(x - easting[rows, None], y - northing[rows, None]), range_m)
        # The first places have fewer neighbours: the empty seats are made to count for nothing.
        empty = seat >= rows[:, None]
        among[empty[:, :, None] | empty[:, None, :]] = 0.0
        shared[empty] = 0.0
        among[:, seat, seat] = 1.0 + _JITTER
        weights[rows] = np.linalg.solve(among, shared[:, :, None])[:, :, 0]
        left_over[rows] -= np.einsum("nm,nm->n", weights[rows], shared)
    return weights, np.sqrt(np.maximum(left_over, 0.0))
