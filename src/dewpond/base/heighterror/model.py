"""The error of open heights as a random field, and how alike it is at two places."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.spatial.distance import cdist

FloatArray = npt.NDArray[np.float64]

STEEP_SLOPE = 0.20
"""Slope (rise over run) beyond which the error of steep ground holds: the limit in the
point-to-point accuracy of the Copernicus DEM."""

_DECAY = 3.0  # exp(-3) = 0.05: the usual meaning of a practical range


@dataclass(frozen=True)
class HeightError:
    """A correlated random field of height error with mean zero.

    The error is raster less true ground. Its correlation at distance d is
    ``(1 - s) exp(-3 d / a_short) + s exp(-3 d / a_long)`` with s the long share, so a head
    (a difference of two heights) has the variance ``2 σ² (1 - correlation)``.

    Attributes
    ----------
    standard_deviation_m : float
        Of the height at one place [m].
    short_range_m : float
        Practical range of the short part [m]: its correlation has fallen to 5 % there.
    long_range_m : float
        Practical range of the long part [m].
    long_share : float
        Share of the variance in the long part, 0 to 1.
    steep_factor : float
        Times the standard deviation of the short part where the ground is steeper than
        `STEEP_SLOPE`; 1 where nothing is published.
    data_class : str
        Kind of elevation data that the figures are for.
    source : str
        Where the figures come from.
    """

    standard_deviation_m: float
    short_range_m: float
    long_range_m: float
    long_share: float
    steep_factor: float = 1.0
    data_class: str = ""
    source: str = ""


@dataclass(frozen=True, eq=False)
class ErrorPoints:
    """Places at which the error is asked for.

    Attributes
    ----------
    easting_m, northing_m : array of float, shape (n,)
        In the working CRS [m].
    slope : array of float, shape (n,), optional
        Slope of the ground, rise over run (0.20 = 20 %); left out or NaN, gentle.
    """

    easting_m: FloatArray
    northing_m: FloatArray
    slope: FloatArray | None = None

    def __len__(self) -> int:
        return int(self.easting_m.size)


@dataclass(frozen=True, eq=False)
class KnownLevels:
    """Places whose error is known from a survey.

    Attributes
    ----------
    easting_m, northing_m : array of float, shape (k,)
        In the working CRS [m].
    error_m : array of float, shape (k,)
        Raster (or the surface in use) less the surveyed level [m]: positive where the raster
        stands too high.
    deviation_m : array of float, shape (k,)
        Standard deviation of each surveyed level [m]; zero for an exact one.
    slope : array of float, shape (k,), optional
        As for `ErrorPoints`.
    """

    easting_m: FloatArray
    northing_m: FloatArray
    error_m: FloatArray
    deviation_m: FloatArray
    slope: FloatArray | None = None

    def __len__(self) -> int:
        return int(self.easting_m.size)

    @property
    def points(self) -> ErrorPoints:
        """Where they lie."""
        return ErrorPoints(self.easting_m, self.northing_m, self.slope)


def covariance_m2(
    error: HeightError,
    easting_a: npt.ArrayLike,
    northing_a: npt.ArrayLike,
    easting_b: npt.ArrayLike,
    northing_b: npt.ArrayLike,
    slope_a: npt.ArrayLike | None = None,
    slope_b: npt.ArrayLike | None = None,
) -> FloatArray:
    """Return the covariance [m²] of the error at each of n places with each of m others.

    Parameters
    ----------
    error : HeightError
    easting_a, northing_a : array_like of float, shape (n,)
        Working CRS [m].
    easting_b, northing_b : array_like of float, shape (m,)
    slope_a, slope_b : array_like of float, shapes (n,) and (m,), optional
        Slope, rise over run.

    Returns
    -------
    array of float, shape (n, m)
    """
    places_a = np.column_stack([np.atleast_1d(easting_a), np.atleast_1d(northing_a)])
    places_b = np.column_stack([np.atleast_1d(easting_b), np.atleast_1d(northing_b)])
    distance_m = cdist(places_a.astype(np.float64), places_b.astype(np.float64))
    factor = np.outer(
        short_factors(error, slope_a, len(places_a)), short_factors(error, slope_b, len(places_b))
    )
    return of_distance_m2(error, distance_m, factor)


def covariance_of(error: HeightError, one: ErrorPoints, other: ErrorPoints) -> FloatArray:
    """Return `covariance_m2` of two sets of points, shape (n, m)."""
    return covariance_m2(
        error, one.easting_m, one.northing_m, other.easting_m, other.northing_m,
        one.slope, other.slope,
    )  # fmt: skip


def short_factors(error: HeightError, slope: npt.ArrayLike | None, count: int) -> FloatArray:
    """Return the factor on the short part's standard deviation at each place, shape (n,)."""
    if slope is None:
        return np.ones(count)
    steep = np.nan_to_num(np.asarray(slope, dtype=np.float64), nan=0.0) > STEEP_SLOPE
    return np.where(np.broadcast_to(steep, (count,)), error.steep_factor, 1.0)


def of_distance_m2(
    error: HeightError, distance_m: FloatArray, short_factor: FloatArray | float = 1.0
) -> FloatArray:
    """Return the covariance [m²] at given distances; `short_factor` is that of both places."""
    share = error.long_share
    short = (1 - share) * short_factor * correlation(distance_m, error.short_range_m)
    long = share * correlation(distance_m, error.long_range_m)
    return np.asarray(error.standard_deviation_m**2 * (short + long))


def correlation(distance_m: FloatArray, range_m: float) -> FloatArray:
    """Return the exponential correlation at distances [m]; 5 % at the practical range [m]."""
    return np.asarray(np.exp(-_DECAY / range_m * distance_m))
