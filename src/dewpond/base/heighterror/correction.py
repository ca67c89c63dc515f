"""The expected error of the heights anywhere, once some levels are known."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy.linalg

from dewpond.base.heighterror.model import (
    ErrorPoints,
    FloatArray,
    HeightError,
    KnownLevels,
    covariance_of,
)

_BLOCK_PAIRS = 4_000_000


@dataclass(frozen=True, eq=False)
class ExpectedError:
    """Kriged mean of the error, called with arrays of easting and northing [m].

    All ground is taken as gentle: a factor for steep ground would cut a step into the corrected
    surface wherever the slope passes the limit. The levels themselves are honoured all the same.
    """

    error: HeightError
    known: KnownLevels

    def __call__(self, easting_m: FloatArray, northing_m: FloatArray) -> FloatArray:
        """Return the expected error, raster less ground [m], in the shape of the arguments."""
        easting, northing = np.asarray(easting_m).ravel(), np.asarray(northing_m).ravel()
        mean = np.empty(easting.size)
        block = max(1, _BLOCK_PAIRS // max(1, len(self.known)))
        for start in range(0, easting.size, block):
            part = slice(start, start + block)
            points = ErrorPoints(easting[part], northing[part])
            mean[part] = covariance_of(self.error, points, self._places) @ self._pull
        return mean.reshape(np.shape(easting_m))

    @cached_property
    def _places(self) -> ErrorPoints:
        return ErrorPoints(self.known.easting_m, self.known.northing_m)

    @cached_property
    def _pull(self) -> FloatArray:
        among = covariance_of(self.error, self._places, self._places)
        among += np.diag(self.known.deviation_m**2)
        return np.asarray(scipy.linalg.pinvh(among) @ self.known.error_m)
