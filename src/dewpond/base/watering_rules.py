"""Published rules for how fast water must arrive, and trough and mob as plain arithmetic.

Pure functions of numbers or arrays; what stands in print is named at each.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dewpond.base.surface import FloatArray
from dewpond.base.units import LITRES_PER_US_GALLON, MINUTES_PER_HOUR

GALLONS_A_HEAD = 2.0
"""Water that a trough holds for each animal where it refills in 1 h [US gal].

USDA, Livestock Watering Data Sheet.
"""

GALLONS_A_MINUTE_A_SPACE = 2.0
"""Refill for each drinking space of a trough of next to no volume [US gal/min]; same source."""

HERD_MINUTES = 20.0
"""Minutes in which the inflow waters a whole herd: NRCS Missouri, as told by M. Kennedy."""

PEAK_HOURS = 4.0
"""Hours in which the day's water may be wanted: Agriculture Victoria 2024, Ohio State ANR-12."""

QUARTER_OF_THE_DAY = 0.25
"""Share of the day's need that a trough for a herd that walks together holds: Ohio ANR-12."""

_WHOLE = 1e-9  # so that a count is not rounded on or off by the last bit of a product


def head_watered(
    litres: npt.ArrayLike, live_weight_share: npt.ArrayLike, weight_kg: npt.ArrayLike
) -> npt.NDArray[np.int64]:
    """Return how many head a day's litres water, by share of live weight drunk a day.

    Parameters
    ----------
    litres : array_like
        Water there is on the peak day [L].
    live_weight_share : array_like
        Share of live weight drunk a day, 0.15 in milk (young included), 0.12 other: common
        practice, no source.
    weight_kg : array_like
        Live weight of one animal [kg].

    Returns
    -------
    array of int
        Whole animals.

    Examples
    --------
    >>> int(head_watered(1000, 0.15, 70))
    95
    """
    need = np.asarray(live_weight_share, float) * np.asarray(weight_kg, float)
    return np.asarray(np.floor(np.asarray(litres, float) / need + _WHOLE), np.int64)


def inflow_l_min(daily_l: npt.ArrayLike, share: npt.ArrayLike, hours: npt.ArrayLike) -> FloatArray:
    """Return the flow that brings a share of the day's water within so many hours [L/min].

    All of it in 7 or 9 h (common practice, no source), all in 4 h (Agriculture Victoria), half
    in 3 h after milking (Teagasc).
    """
    volume = np.asarray(daily_l, float) * np.asarray(share, float)
    return np.asarray(volume / (np.asarray(hours, float) * MINUTES_PER_HOUR))


def hour_refill_volume_l(head: npt.ArrayLike) -> FloatArray:
    """Return the volume that a trough must hold to be refilled within an hour [L].

    2 US gal an animal: USDA, Livestock Watering Data Sheet.
    """
    return np.asarray(GALLONS_A_HEAD * LITRES_PER_US_GALLON * np.asarray(head, float))


def instant_refill_l_min(spaces: npt.ArrayLike) -> FloatArray:
    """Return the flow that keeps up with stock at every drinking space [L/min].

    2 US gal/min a space, for a trough of next to no volume: USDA, Livestock Watering Data Sheet.
    """
    per_space = GALLONS_A_MINUTE_A_SPACE * LITRES_PER_US_GALLON
    return np.asarray(per_space * np.asarray(spaces, float))


def spaces_for(head: npt.ArrayLike, share: npt.ArrayLike, least: int = 1) -> FloatArray:
    """Return how many drink at once: a share rounded up, at least so many, at most all.

    Examples
    --------
    >>> float(spaces_for(52, 0.10))
    6.0
    """
    count = np.ceil(np.asarray(head, float) * np.asarray(share, float) - _WHOLE)
    return np.asarray(np.minimum(np.maximum(count, least), np.asarray(head, float)))


@dataclass(frozen=True)
class DrinkingEvent:
    """A mob at a trough that is full when it comes: drunk at a steady rate, filled at another.

    Stock take turns at the spaces, so the draw is steady until the last has drunk. While it is
    more than the inflow the level falls in a straight line, and is lowest at the end.

    Attributes
    ----------
    head : float
        Animals that drink.
    at_once : float
        Of them, how many drink at once.
    drink_l : float
        What one drinks in one visit [L].
    rate_l_min : float
        How fast one drinks [L/min].

    Notes
    -----
    Closed form of dV/dt = inflow − at_once × rate. Peak draw and volume as set out for dairy
    herds by Teagasc: what is drawn beyond the inflow, for as long as the visit lasts.
    """

    head: float
    at_once: float
    drink_l: float
    rate_l_min: float

    @property
    def draw_l_min(self) -> float:
        """Draw while stock drink [L/min]."""
        return self.at_once * self.rate_l_min

    @property
    def minutes(self) -> float:
        """How long the visit lasts where the trough never runs dry [min]."""
        return self.head * self.drink_l / self.draw_l_min

    def least_volume_l(self, inflow_l_min: float) -> float:
        """Return the volume with which the trough does not run dry [L]."""
        return max(0.0, self.draw_l_min - inflow_l_min) * self.minutes

    def least_inflow_l_min(self, volume_l: float) -> float:
        """Return the inflow with which a trough of a volume does not run dry [L/min]."""
        return max(0.0, self.draw_l_min - volume_l / self.minutes)

    def minutes_with(self, volume_l: float, inflow_l_min: float) -> float:
        """Return how long it takes to water all, waiting at a dry trough included [min]."""
        wanted_l = self.head * self.drink_l
        if volume_l >= self.least_volume_l(inflow_l_min):
            return self.minutes
        return (wanted_l - volume_l) / inflow_l_min if inflow_l_min > 0 else float("inf")
