"""Present values against published tables, and a library of financial functions."""

from __future__ import annotations

import numpy as np
import numpy_financial as npf
import pytest

from dewpond.base.rounding import to_cents
from dewpond.base.whole_life import even_yearly_sum, present_factors, replacements


@pytest.mark.parametrize(
    ("year", "factor"), [(1, 0.9662), (5, 0.8420), (10, 0.7089), (20, 0.5026), (30, 0.3563)]
)
def test_factors_of_the_green_book(year: int, factor: float) -> None:
    """HM Treasury, The Green Book, table of discount factors at 3.5 % (from memory)."""
    assert present_factors(30, 0.035)[year] == pytest.approx(factor, abs=5e-5)


@pytest.mark.parametrize(
    ("rate", "years", "factor"), [(0.06, 10, 0.13587), (0.08, 20, 0.10185), (0.10, 5, 0.26380)]
)
def test_capital_recovery_factors(rate: float, years: int, factor: float) -> None:
    """Tables of capital recovery factors in books of engineering economics (from memory)."""
    assert even_yearly_sum(1.0, years, rate) == pytest.approx(factor, abs=5e-6)


@pytest.mark.parametrize("rate", [0.0, 0.01, 0.035, 0.2])
def test_against_a_library(rate: float) -> None:
    paid = np.random.default_rng(1).uniform(0.0, 900.0, 16)
    present = float(paid @ present_factors(15, rate))
    assert present == pytest.approx(npf.npv(rate, paid))
    assert even_yearly_sum(present, 15, rate) == pytest.approx(-npf.pmt(rate, 15, present))


def test_what_is_replaced_when() -> None:
    paid = replacements([100.0, 10.0, 7.0, 1.0], [10.0, 20.0, np.nan, 7.5], 21)
    # 10 and 20 years: years 10 and 20; 20 years: 20; 7.5 years: in the course of 8, and 15.
    assert paid[[8, 10, 15, 20]].tolist() == [1.0, 100.0, 1.0, 110.0]
    assert paid.sum() == 212.0
    assert len(paid) == 22


def test_nothing_is_replaced_in_the_last_year() -> None:
    assert replacements([50.0], [10.0], 20).tolist() == [0.0] * 10 + [50.0] + [0.0] * 10


@pytest.mark.parametrize(
    ("amount", "cents"),
    [(1.005, 1.01), (2.675, 2.68), (0.0, 0.0), (10.004999, 10.0), (1e7 + 0.125, 1e7 + 0.13)],
)
def test_half_a_cent_goes_up(amount: float, cents: float) -> None:
    assert float(to_cents(amount)) == pytest.approx(cents, abs=1e-9)
