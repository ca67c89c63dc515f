"""Draws at very many places: each given its nearest neighbours among those before it."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from dewpond.base.heighterror.model import (
    ErrorPoints,
    FloatArray,
    HeightError,
    of_distance_m2,
    short_factors,
)

IntArray = npt.NDArray[np.intp]

NEIGHBOURS = 24
"""Neighbours that stand for all the places before one."""

_BLOCK_PLACES = 2_000
_JITTER = 1e-10


def draw_sequentially(
    error: HeightError, places: ErrorPoints, count: int, random: np.random.Generator
) -> FloatArray:
    """Draw the error at many distinct places, shape (count, n).

    Each place is drawn from its distribution given the `NEIGHBOURS` nearest of the places drawn
    before it (Vecchia 1988, J. R. Statist. Soc. B 50: 297-312, from memory). Places come in an
    order from coarse to fine, each as far as can be from those before, so that the first carry
    what is common to the whole farm and the last what changes within metres. The covariance so
    drawn differs from that of the field by less than 2 % of the variance at the places tried in
    the tests; time and memory grow with n, not with n³.
    """
    order, nearest = _coarse_to_fine(places)
    weights, left_over_m = _weights(error, places, order, nearest)
    noise = random.standard_normal((len(places), count))
    drawn = np.empty((len(places), count))
    for position in range(len(places)):
        before = min(position, NEIGHBOURS)
        drawn[position] = left_over_m[position] * noise[position]
        if before:
            drawn[position] += weights[position, :before] @ drawn[nearest[position, :before]]
    back = np.empty_like(order)
    back[order] = np.arange(order.size)
    return np.ascontiguousarray(drawn[back].T)


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
    error: HeightError, places: ErrorPoints, order: IntArray, nearest: IntArray
) -> tuple[FloatArray, FloatArray]:
    """Return the weights of the neighbours, shape (n, m), and the deviation left over, (n,)."""
    easting, northing = places.easting_m[order], places.northing_m[order]
    factor = short_factors(error, places.slope, len(places))[order]
    total = len(places)
    weights = np.zeros((total, NEIGHBOURS))
    variance = of_distance_m2(error, np.zeros(total), factor**2)
    left_over = variance.copy()
    for start in range(0, total, _BLOCK_PLACES):
        rows = np.arange(start, min(start + _BLOCK_PLACES, total))
        near = nearest[rows]
        x, y, f = easting[near], northing[near], factor[near]
        among = of_distance_m2(
            error,
            np.hypot(x[:, :, None] - x[:, None, :], y[:, :, None] - y[:, None, :]),
            f[:, :, None] * f[:, None, :],
        )
        shared = of_distance_m2(
            error,
            np.hypot(x - easting[rows, None], y - northing[rows, None]),
            f * factor[rows, None],
        )
        # The first places have fewer neighbours: the empty seats are made to count for nothing.
        empty = np.arange(NEIGHBOURS) >= rows[:, None]
        among[empty[:, :, None] | empty[:, None, :]] = 0.0
        shared[empty] = 0.0
        diagonal = np.arange(NEIGHBOURS)
        among[:, diagonal, diagonal] = np.where(
            empty, 1.0, among[:, diagonal, diagonal] * (1 + _JITTER)
        )
        weights[rows] = np.linalg.solve(among, shared[:, :, None])[:, :, 0]
        left_over[rows] -= np.einsum("nm,nm->n", weights[rows], shared)
    return weights, np.sqrt(np.maximum(left_over, 0.0))
