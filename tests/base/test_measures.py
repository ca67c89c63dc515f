"""Figures as printed: known conversions, and a dash where there is no figure."""

from __future__ import annotations

import math

import pytest

from dewpond.base.measures import Measures, Quantity, money


# NIST Special Publication 811, appendix B.8 (from memory): factors of the units.
@pytest.mark.parametrize(
    ("quantity", "metric", "printed"),
    [
        ("length", 402.336, "1,320 ft"),
        ("flow", 3.785411784, "1.0 US gal/min"),
        ("area", 40.468564224, "100.0 acres"),
        ("pressure", 6.894757293168, "100 psi"),
        ("power", 745.69987, "1.00 hp"),
        ("weight", 45.359237, "100 lb"),
        ("diameter", 25.4, "1.00 in"),
    ],
)
def test_us_customary(quantity: Quantity, metric: float, printed: str) -> None:
    assert Measures("US customary").text(quantity, metric) == printed


def test_metric() -> None:
    assert Measures().text("length", 1234.4) == "1,234 m"
    assert Measures().text("head", 12.34, 2) == "12.34 m"


def test_what_is_not_known_is_a_dash() -> None:
    assert Measures().text("head", math.nan) == "–"
    assert money(math.nan, "GBP") == "–"


def test_money() -> None:
    assert money(14019.4, "GBP") == "GBP 14,019"
    assert money(2.5, "USD", 2) == "USD 2.50"
