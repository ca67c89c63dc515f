"""Cost over the years: present values of what is paid each year, and of what is replaced."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from dewpond.base.surface import FloatArray


def present_factors(years: int, rate: float) -> FloatArray:
    """Return what money of year 0 to the last is worth at the beginning, shape (years + 1,)."""
    return np.asarray((1.0 + rate) ** -np.arange(years + 1.0))


def even_yearly_sum(present_value: float, years: int, rate: float) -> float:
    """Return the even sum at the end of each year that has a present value.

    Notes
    -----
    The capital recovery factor r / (1 - (1 + r)**-n), 1/n without interest: ASAE/ASABE EP496,
    and any book of engineering economics (from memory).
    """
    if rate == 0.0:
        return present_value / years
    return present_value * rate / (1.0 - (1.0 + rate) ** -years)


def replacements(amounts: npt.ArrayLike, life_years: npt.ArrayLike, years: int) -> FloatArray:
    """Return what is paid for replacement in year 0 to the last, shape (years + 1,).

    Parameters
    ----------
    amounts, life_years : array_like, shape (n,)
        Price of each thing, and the years after which it is replaced; NaN for never.
    years : int
        Term. Nothing is replaced in its last year, and nothing that is left then is counted.
    """
    amount, life = np.asarray(amounts, float), np.asarray(life_years, float)
    paid = np.zeros(years + 1)
    for price, every in zip(amount, life, strict=True):
        if not np.isfinite(every):
            continue
        # A life of 12.5 years ends in the course of the 13th.
        ends = np.ceil(np.arange(every, years, every) - 1e-9).astype(int)
        np.add.at(paid, ends[ends < years], price)
    return paid
