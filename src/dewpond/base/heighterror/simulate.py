"""Errors as they might be: many draws of the field at once."""

from __future__ import annotations

import numpy as np
import scipy.linalg

from dewpond.base.heighterror.kriging import kriging_weights
from dewpond.base.heighterror.model import (
    ErrorPoints,
    FloatArray,
    HeightError,
    KnownLevels,
    covariance_of,
    short_factors,
)
from dewpond.base.heighterror.sequential import draw_sequentially

EXACT_POINTS = 1_000
"""Up to so many places the whole covariance is factorised; beyond, neighbours stand for all."""

_ONE_PLACE_M = 1e-3
_JITTER = 1e-12


def simulate_errors(
    error: HeightError,
    points: ErrorPoints,
    count: int,
    random_state: int,
    known: KnownLevels | None = None,
) -> FloatArray:
    """Draw the height error at points, many times over.

    Parameters
    ----------
    error : HeightError
    points : ErrorPoints
        The n places; those within a millimetre of each other get the same error.
    count : int
        How many draws.
    random_state : int
        The same number gives the same draws.
    known : KnownLevels, optional
        Surveyed levels that every draw honours, within their own deviation.

    Returns
    -------
    array of float, shape (count, n)
        Error, raster less ground [m]: ground = raster less error.

    Notes
    -----
    Up to `EXACT_POINTS` places the draws have exactly the covariance of the field (Cholesky
    factor). Beyond, each place is drawn given its nearest neighbours among those drawn before it,
    in an order that goes from coarse to fine (Vecchia 1988); see `draw_sequentially` for what
    that leaves out. Surveyed levels are honoured by kriging the difference between what was drawn
    there and what was surveyed (Matheron's rule; Chilès and Delfiner, Geostatistics, section
    7.3, from memory).
    """
    random = np.random.default_rng(random_state)
    wanted = points if known is None or not len(known) else _joined(points, known.points)
    places, place_of = _distinct(error, wanted)
    if len(places) <= EXACT_POINTS:
        drawn = _draw_exactly(error, places, count, random)
    else:
        drawn = draw_sequentially(error, places, count, random)
    drawn = drawn[:, place_of]
    if known is None or not len(known):
        return drawn
    at_points, at_known = drawn[:, : len(points)], drawn[:, len(points) :]
    surveyed = at_known + random.standard_normal(at_known.shape) * known.deviation_m
    weights = kriging_weights(error, points, known)
    return np.asarray(at_points + (known.error_m - surveyed) @ weights.T)


def _joined(one: ErrorPoints, other: ErrorPoints) -> ErrorPoints:
    slopes = [
        np.full(len(part), np.nan) if part.slope is None else part.slope for part in (one, other)
    ]
    return ErrorPoints(
        np.concatenate([one.easting_m, other.easting_m]),
        np.concatenate([one.northing_m, other.northing_m]),
        np.concatenate(slopes),
    )


def _distinct(error: HeightError, points: ErrorPoints) -> tuple[ErrorPoints, np.ndarray]:
    """Return the places that differ, and for each point the position of its place."""
    factor = short_factors(error, points.slope, len(points))
    key = np.column_stack(
        [
            np.round(points.easting_m / _ONE_PLACE_M),
            np.round(points.northing_m / _ONE_PLACE_M),
            factor,
        ]
    )
    _, first, place_of = np.unique(key, axis=0, return_index=True, return_inverse=True)
    slope = None if points.slope is None else points.slope[first]
    return ErrorPoints(points.easting_m[first], points.northing_m[first], slope), place_of.ravel()


def _draw_exactly(
    error: HeightError, places: ErrorPoints, count: int, random: np.random.Generator
) -> FloatArray:
    covariance = covariance_of(error, places, places)
    # Places a hair apart make the matrix all but singular; a trillionth of the variance mends it.
    np.fill_diagonal(covariance, np.diag(covariance) * (1 + _JITTER))
    try:
        factor = scipy.linalg.cholesky(covariance, lower=True, overwrite_a=True)
    except np.linalg.LinAlgError:
        values, vectors = scipy.linalg.eigh(covariance_of(error, places, places))
        factor = vectors * np.sqrt(np.maximum(values, 0.0))
    return np.asarray(random.standard_normal((count, len(places))) @ factor.T)
