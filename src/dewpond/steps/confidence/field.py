"""The error of the heights at every place of a scheme, what is known taken into account."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from dewpond.base.heighterror import (
    ErrorPoints,
    HeightError,
    KnownLevels,
    covariance_m2,
    kriging_weights,
    simulate_errors,
)
from dewpond.base.heighterror.model import of_distance_m2, short_factors
from dewpond.base.surface import FloatArray

IntArray = npt.NDArray[np.intp]

EXACT = -1
"""Stands in place of a place for a level that is known: its error is zero."""


@dataclass(frozen=True, eq=False)
class Field:
    """Error (raster less ground) at the places of a scheme, given the levels that are known.

    Attributes
    ----------
    error : HeightError
    points : ErrorPoints
        The n places.
    known : KnownLevels
        May be empty.
    """

    error: HeightError
    points: ErrorPoints
    known: KnownLevels

    @cached_property
    def mean_m(self) -> FloatArray:
        """Expected error, shape (n,)."""
        return np.asarray(self._weights @ self.known.error_m)

    @cached_property
    def variance_m2(self) -> FloatArray:
        """Variance of the error, shape (n,)."""
        factor = short_factors(self.error, self.points.slope, len(self.points))
        before = of_distance_m2(self.error, np.zeros(len(self.points)), factor**2)
        explained = np.einsum("nk,kn->n", self._weights, self._shared)
        return np.asarray(np.maximum(before - explained, 0.0))

    def covariance_m2(self, one: IntArray, other: IntArray) -> FloatArray:
        """Return the covariance between places, shape (a, b); zero with `EXACT`."""
        found = covariance_m2(
            self.error,
            self.points.easting_m[one], self.points.northing_m[one],
            self.points.easting_m[other], self.points.northing_m[other],
            self._slope(one), self._slope(other),
        )  # fmt: skip
        found -= self._weights[one] @ self._shared[:, other]
        return np.where((one == EXACT)[:, None] | (other == EXACT)[None, :], 0.0, found)

    def heads_of(self, place: IntArray, datum: IntArray) -> tuple[FloatArray, FloatArray]:
        """Return mean and standard deviation of what water gains over the ground, shape (m,).

        Water whose level follows the ground at `datum` stands higher over the ground at `place`
        than reckoned by the error there less the error at the datum.
        """
        mean = self.mean_m[place] - np.where(datum == EXACT, 0.0, self.mean_m[datum])
        variance = self.variance_m2[place].copy()
        for at in np.unique(datum[datum != EXACT]):
            rows = np.flatnonzero(datum == at)
            both = self.covariance_m2(place[rows], np.array([at], dtype=np.intp))[:, 0]
            variance[rows] += self.variance_m2[at] - 2.0 * both
        # At its own place water and ground move together; rounding may leave a hair.
        variance = np.where(place == datum, 0.0, np.maximum(variance, 0.0))
        return mean, np.sqrt(variance)

    def draws_m(self, count: int, random_state: int) -> FloatArray:
        """Return errors that might be, shape (count, n)."""
        return simulate_errors(self.error, self.points, count, random_state, self.known)

    @cached_property
    def _weights(self) -> FloatArray:
        return kriging_weights(self.error, self.points, self.known)

    @cached_property
    def _shared(self) -> FloatArray:
        known, points = self.known, self.points
        return covariance_m2(
            self.error, known.easting_m, known.northing_m, points.easting_m, points.northing_m,
            known.slope, points.slope,
        )  # fmt: skip

    def _slope(self, places: IntArray) -> FloatArray | None:
        return None if self.points.slope is None else self.points.slope[places]
