"""Figures as documents print them, in the units the reader works in: metric or US customary.

Everything is worked out and stored in metric units; result files for programs stay so. Documents
for people (maps, sheets, proposal, schedule) print through `Measures`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from dewpond.base.units import KILOGRAMS_PER_POUND, LITRES_PER_US_GALLON, METRES_PER_FOOT

System = Literal["metric", "US customary"]
Quantity = Literal[
    "length", "level", "head", "diameter", "area", "volume", "flow", "speed", "pressure", "weight",
    "power", "bulk volume", "small area",
]  # fmt: skip

_ACRES_PER_HECTARE = 10_000.0 / 4046.8564224
"""International acre, 43,560 square feet, by definition."""
_PSI_PER_BAR = 100_000.0 / 6894.757293168
"""Pound-force a square inch, by definition of pound, inch and standard gravity."""
_WATTS_PER_HORSEPOWER = 745.69987158227022
"""Mechanical horsepower, 550 foot-pounds a second, by definition."""


@dataclass(frozen=True)
class Unit:
    """A unit as printed: its sign, how many of it one metric unit is, and decimals to print."""

    sign: str
    factor: float
    decimals: int


_METRIC: Mapping[str, Unit] = {
    "length": Unit("m", 1.0, 0),
    "level": Unit("m", 1.0, 1),
    "head": Unit("m", 1.0, 1),
    "diameter": Unit("mm", 1.0, 0),
    "area": Unit("ha", 1.0, 2),
    "volume": Unit("L", 1.0, 0),
    "flow": Unit("L/min", 1.0, 1),
    "speed": Unit("m/s", 1.0, 2),
    "pressure": Unit("bar", 1.0, 1),
    "weight": Unit("kg", 1.0, 0),
    "power": Unit("W", 1.0, 0),
    "bulk volume": Unit("m³", 1.0, 1),
    "small area": Unit("m²", 1.0, 0),
}
_US: Mapping[str, Unit] = {
    "length": Unit("ft", 1 / METRES_PER_FOOT, 0),
    "level": Unit("ft", 1 / METRES_PER_FOOT, 0),
    "head": Unit("ft", 1 / METRES_PER_FOOT, 0),
    # Pipe is sold by its metric outside diameter; the inch is told beside it, never instead.
    "diameter": Unit("in", 1 / 25.4, 2),
    "area": Unit("acres", _ACRES_PER_HECTARE, 1),
    "volume": Unit("US gal", 1 / LITRES_PER_US_GALLON, 0),
    "flow": Unit("US gal/min", 1 / LITRES_PER_US_GALLON, 1),
    "speed": Unit("ft/s", 1 / METRES_PER_FOOT, 1),
    "pressure": Unit("psi", _PSI_PER_BAR, 0),
    "weight": Unit("lb", 1 / KILOGRAMS_PER_POUND, 0),
    "power": Unit("hp", 1 / _WATTS_PER_HORSEPOWER, 2),
    "bulk volume": Unit("US gal", 1000 / LITRES_PER_US_GALLON, 0),
    "small area": Unit("sq ft", 1 / METRES_PER_FOOT**2, 0),
}
_STATED_IN: Mapping[str, Quantity] = {
    "m": "head", "mm": "diameter", "ha": "area", "L": "volume", "L/min": "flow", "m/s": "speed",
    "bar": "pressure", "kg": "weight", "W": "power",
}  # fmt: skip
"""What a requirement is about, by the unit of its figure."""


@dataclass(frozen=True)
class Measures:
    """Prints figures in one system of units.

    Examples
    --------
    >>> Measures("metric").text("head", 12.34)
    '12.3 m'
    >>> Measures("US customary").text("flow", 37.85411784)
    '10.0 US gal/min'
    """

    system: System = "metric"

    def unit(self, quantity: Quantity) -> Unit:
        """Return the unit that a quantity is printed in."""
        return (_METRIC if self.system == "metric" else _US)[quantity]

    def sign(self, quantity: Quantity) -> str:
        """Return the sign of that unit, for the heading of a column."""
        return self.unit(quantity).sign

    def value(self, quantity: Quantity, metric: float) -> float:
        """Return a figure given in m, mm, ha, L, L/min, m/s, bar, kg, W, m³ or m²."""
        return metric * self.unit(quantity).factor

    def figure(self, quantity: Quantity, metric: float, decimals: int | None = None) -> str:
        """Return the figure alone, thousands parted by commas; a dash where it is not known."""
        if not math.isfinite(metric):
            return "–"
        unit = self.unit(quantity)
        return (
            f"{self.value(quantity, metric):,.{unit.decimals if decimals is None else decimals}f}"
        )

    def text(self, quantity: Quantity, metric: float, decimals: int | None = None) -> str:
        """Return the figure with its unit; a dash where it is not known."""
        figure = self.figure(quantity, metric, decimals)
        return figure if figure == "–" else f"{figure} {self.sign(quantity)}"

    def stated(self, figure: float, unit: str) -> str:
        """Return the figure of a requirement with its unit, to four significant figures.

        >>> Measures("US customary").stated(17.87, "m"), Measures().stated(100.0, "%")
        ('58.63 ft', '100 %')
        """
        quantity = _STATED_IN.get(unit)
        if quantity is None:
            return f"{figure:.4g} {unit}"
        return f"{self.value(quantity, figure):.4g} {self.sign(quantity)}"

    def temperature(self, celsius: float) -> str:
        """Return a temperature with its unit, in whole degrees.

        >>> Measures("US customary").temperature(30.0)
        '86 °F'
        """
        return f"{celsius:.0f} °C" if self.system == "metric" else f"{celsius * 1.8 + 32:.0f} °F"


def money(amount: float, currency: str, decimals: int = 0) -> str:
    """Return an amount with its ISO 4217 code, thousands parted by commas.

    >>> money(14019.4, "GBP")
    'GBP 14,019'
    """
    return f"{currency} {amount:,.{decimals}f}" if math.isfinite(amount) else "–"
