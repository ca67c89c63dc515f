"""Money to the cent, half a cent up, as spreadsheets round it."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from dewpond.base.surface import FloatArray


def to_cents(amount: npt.ArrayLike) -> FloatArray:
    """Return amounts rounded to two decimals, half up; none below zero.

    A product that binary arithmetic leaves a hair below half a cent goes up as well.

    >>> float(to_cents(1.005))
    1.01
    """
    return np.asarray(np.floor(np.asarray(amount, float) * 100.0 + 0.5 + 1e-7) / 100.0)
