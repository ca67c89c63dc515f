"""How far out a head may be: the error of the heights at a source and at each place."""

from __future__ import annotations

import numpy as np

from dewpond.base.heighterror import (
    ErrorPoints,
    HeightError,
    KnownLevels,
    covariance_m2,
    kriging_weights,
)
from dewpond.base.heighterror.model import covariance_of, short_factors
from dewpond.base.surface import FloatArray, Grid
from dewpond.steps.command.ways import Doubt
from dewpond.steps.command.window import centres_of

_MOST_SHARED = 0.99


def deviation_grid(
    error: HeightError,
    ground: Grid,
    at: tuple[float, float],
    known: KnownLevels | None,
    *,
    level_known: bool,
) -> FloatArray:
    """Return the standard deviation of the head of each cell under a source [m].

    Parameters
    ----------
    error : HeightError
    ground : Grid
        Heights [m].
    at : tuple of float
        Easting and northing of the source.
    known : KnownLevels or None
        Surveyed levels that the heights were held to.
    level_known : bool
        Whether the level of the source is known by itself; else it is read from the same heights
        and errs with them, so that what both have in common falls out.

    Returns
    -------
    array of float, shape (rows, columns)
        Closed form: the root of var(source) + var(cell) - 2 cov(source, cell).
    """
    cells = _points(ground)
    source = _source_point(ground, at, cells)
    variance = _variance(error, cells, known)
    if not level_known:
        together = covariance_m2(
            error, cells.easting_m, cells.northing_m, source.easting_m, source.northing_m,
            cells.slope, source.slope,
        )[:, 0]  # fmt: skip
        if known is not None and len(known):
            weights = kriging_weights(error, source, known)
            together = together - covariance_of(error, cells, known.points) @ weights[0]
        variance = variance + _variance(error, source, known) - 2.0 * together
    return np.sqrt(np.maximum(variance, 0.0)).reshape(ground.values.shape)


def doubt_of(
    error: HeightError,
    ground: Grid,
    at: tuple[float, float],
    known: KnownLevels | None,
    *,
    level_known: bool,
) -> Doubt:
    """Return the doubt in heads on ways from a source; parameters as `deviation_grid`.

    Stretches are a quarter of the short range, which came closest to simulation. Heads on
    different stretches have in common the error of the source where that is read from the same
    heights (one half of the variance of each head), and the long part of the error where it is
    not.
    """
    deviation = deviation_grid(error, ground, at, known, level_known=level_known)
    rows, columns = deviation.shape
    flat = deviation.ravel()

    def sample(column: FloatArray, row: FloatArray) -> FloatArray:
        x = np.clip((column + 0.5).astype(np.intp), 0, columns - 1)
        y = np.clip((row + 0.5).astype(np.intp), 0, rows - 1)
        return np.asarray(flat.take(y * columns + x))

    shared = min(error.long_share, _MOST_SHARED) if level_known else 0.5
    return Doubt(sample, error.short_range_m / 4.0, shared)


def _variance(error: HeightError, points: ErrorPoints, known: KnownLevels | None) -> FloatArray:
    share = error.long_share
    factor = short_factors(error, points.slope, len(points))
    variance = error.standard_deviation_m**2 * ((1.0 - share) * factor**2 + share)
    if known is not None and len(known):
        weights = kriging_weights(error, points, known)
        variance = variance - np.sum(weights * covariance_of(error, points, known.points), axis=1)
    return np.asarray(np.maximum(variance, 0.0))


def _points(ground: Grid) -> ErrorPoints:
    centres = centres_of(ground)
    cell_m = ground.transform.a
    along_rows, along_columns = np.gradient(ground.values, cell_m)
    return ErrorPoints(centres[:, 0], centres[:, 1], np.hypot(along_rows, along_columns).ravel())


def _source_point(ground: Grid, at: tuple[float, float], cells: ErrorPoints) -> ErrorPoints:
    rows, columns = ground.values.shape
    column = int(np.clip((at[0] - ground.transform.c) / ground.transform.a, 0, columns - 1))
    row = int(np.clip((at[1] - ground.transform.f) / ground.transform.e, 0, rows - 1))
    slope = None if cells.slope is None else cells.slope[[row * columns + column]]
    return ErrorPoints(np.array([at[0]]), np.array([at[1]]), slope)
