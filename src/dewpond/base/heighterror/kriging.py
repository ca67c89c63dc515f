"""What surveyed levels tell of the error elsewhere: simple kriging with mean zero."""

from __future__ import annotations

import numpy as np
import scipy.linalg

from dewpond.base.heighterror.model import (
    ErrorPoints,
    FloatArray,
    HeightError,
    KnownLevels,
    covariance_of,
)


def conditioned(
    error: HeightError, points: ErrorPoints, known: KnownLevels
) -> tuple[FloatArray, FloatArray]:
    """Return mean and covariance of the error at points, given surveyed levels.

    Parameters
    ----------
    error : HeightError
    points : ErrorPoints
        The n places asked for.
    known : KnownLevels
        The k surveyed places; none leaves the error as it was.

    Returns
    -------
    mean_m : array of float, shape (n,)
        Expected error, raster less ground [m]. Take it off the raster for the best guess.
    covariance_m2 : array of float, shape (n, n)
        What is left of the covariance; zero at a place surveyed exactly.
    """
    before = covariance_of(error, points, points)
    weights = kriging_weights(error, points, known)
    shared = covariance_of(error, points, known.points)
    after = before - weights @ shared.T
    after = (after + after.T) / 2
    # Rounding may leave a variance a hair below zero at a surveyed place.
    np.fill_diagonal(after, np.maximum(np.diag(after), 0.0))
    return weights @ known.error_m, after


def kriging_weights(error: HeightError, points: ErrorPoints, known: KnownLevels) -> FloatArray:
    """Return the weight of each known error at each point, shape (n, k).

    The mean is taken as zero, as the field has it; two surveys of one place share the weight.
    """
    if not len(known):
        return np.zeros((len(points), 0))
    among = covariance_of(error, known.points, known.points) + np.diag(known.deviation_m**2)
    shared = covariance_of(error, points, known.points)
    # The pseudo-inverse has no trouble with a place surveyed twice; k is small.
    return np.asarray(shared @ scipy.linalg.pinvh(among))
