"""A tank through the day: what stock draw, what the source gives, and the volume between them.

A day is 96 steps of 15 minutes from midnight; every function also takes days of other steps.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dewpond.base.surface import FloatArray

STEPS_A_DAY = 96

DRINKING_CURVES = ("even", "daytime", "two peaks", "morning and evening", "milking")
"""Names of the shapes of the day that `drinking_shares` knows."""


def hours_share(first_hour: float, last_hour: float, steps: int = STEPS_A_DAY) -> FloatArray:
    """Return the share of each step of the day that lies between two hours, 0 to 1.

    Parameters
    ----------
    first_hour, last_hour : float
        Hours of the day, 0 to 24; a window whose end is before its start runs over midnight, and
        one whose ends are equal is the whole day.
    steps : int
        Steps in the day.

    Raises
    ------
    ValueError
        Hours outside 0 to 24.
    """
    if not (0.0 <= first_hour <= 24.0 and 0.0 <= last_hour <= 24.0):
        raise ValueError(f"hours {first_hour:g} to {last_hour:g} are not within 0 to 24")
    if first_hour == last_hour:
        return np.ones(steps)
    edges = np.linspace(0.0, 24.0, steps + 1)
    before = np.clip(edges, None, last_hour) - np.clip(edges, None, first_hour)
    inside = np.diff(before) * steps / 24.0
    return inside if first_hour < last_hour else 1.0 + inside


def drinking_shares(curve: str, milking_hour: float = 7.0) -> FloatArray:
    """Return the share of the day's water drunk in each quarter of an hour, summing to 1.

    Parameters
    ----------
    curve : str
        - "even": the same all day and night; for comparison only.
        - "daytime": 80 % evenly from 05:00 to 21:00, the rest at night. Water 2016, 8(7), 302.
        - "two peaks": the same, with the rate doubled from 07:00 to 08:00 and 17:00 to 18:00,
          the peak hours of that source; it gives no height for them, so twice is common
          practice, no source.
        - "morning and evening": all of it from 07:00 to 11:00 and 16:30 to 20:30, the peak
          hours of systems with many stock in Schulz & Austin 1976, J. Hydraul. Div. 102(1):15;
          that nothing is drunk between them is the severest reading, common practice, no source.
        - "milking": half of it within 3 h of a milking (Teagasc), the rest in the other hours
          from 05:00 to 21:00.
    milking_hour : float
        End of the milking that cows drink most after, from 5 to 18.

    Raises
    ------
    ValueError
        An unknown curve, or a milking outside 5 to 18 h.
    """
    day = hours_share(5.0, 21.0)
    if curve == "even":
        weight = np.ones(STEPS_A_DAY)
    elif curve == "daytime":
        weight = 0.8 * day / day.sum() + 0.2 * (1.0 - day) / (1.0 - day).sum()
    elif curve == "two peaks":
        peaked = day + hours_share(7.0, 8.0) + hours_share(17.0, 18.0)
        weight = 0.8 * peaked / peaked.sum() + 0.2 * (1.0 - day) / (1.0 - day).sum()
    elif curve == "morning and evening":
        weight = hours_share(7.0, 11.0) + hours_share(16.5, 20.5)
    elif curve == "milking":
        if not 5.0 <= milking_hour <= 18.0:
            raise ValueError(f"a milking at {milking_hour:g} h is not between 5 and 18 h")
        after = hours_share(milking_hour, milking_hour + 3.0)
        weight = 0.5 * after / after.sum() + 0.5 * (day - after) / (day - after).sum()
    else:
        raise ValueError(f'unknown drinking curve "{curve}"; one of {", ".join(DRINKING_CURVES)}')
    return np.asarray(weight / weight.sum())


def balancing_volume_l(draw_l: npt.ArrayLike, supply_l: npt.ArrayLike) -> float:
    """Return the least volume that evens out a day of draw and supply, repeated for ever [L].

    Parameters
    ----------
    draw_l, supply_l : array_like, shape (steps,)
        Water drawn, and water the source can give, in each step [L].

    Returns
    -------
    float
        Volume [L]; infinite where the day's supply is less than the day's draw.

    Notes
    -----
    The deepest shortfall of the mass curves (sequent peak); where both sum to the same, the sum
    of the two greatest ordinates between the curves. The supply is taken as throttled by a float
    valve, so more of it than is drawn asks for no more volume.
    """
    draw, supply = np.asarray(draw_l, float), np.asarray(supply_l, float)
    if supply.sum() < draw.sum() * (1.0 - 1e-12):
        return np.inf
    lacking = np.cumsum(np.tile(draw - supply, 2))  # two days: the second starts as it ends
    since_full = np.minimum.accumulate(np.minimum(lacking, 0.0))
    return float(max(0.0, (lacking - since_full).max()))


@dataclass(frozen=True, eq=False)
class TankDays:
    """A tank over one or more days, every array of shape (steps,), in litres.

    Attributes
    ----------
    level_l : water in the tank at the end of each step.
    drawn_l : water that stock got.
    short_l : water that stock wanted and did not get.
    taken_l : water taken from the source.
    start_l : float
        Water in the tank at the beginning.
    """

    level_l: FloatArray
    drawn_l: FloatArray
    short_l: FloatArray
    taken_l: FloatArray
    start_l: float

    @property
    def imbalance_l(self) -> float:
        """What came in less what went out less what stayed [L]; 0 but for rounding."""
        stayed = self.level_l[-1] - self.start_l
        return float(self.taken_l.sum() - self.drawn_l.sum() - stayed)


def run_tank(
    draw_l: npt.ArrayLike, supply_l: npt.ArrayLike, volume_l: float, start_l: float | None = None
) -> TankDays:
    """Return a tank's water step by step, filled by a float valve and drawn by stock.

    Parameters
    ----------
    draw_l, supply_l : array_like, shape (steps,)
        Water wanted, and water the source can give, in each step [L].
    volume_l : float
        Usable volume [L].
    start_l : float, optional
        Water in the tank at the beginning [L]; full by default.

    Raises
    ------
    ValueError
        Unequal shapes, or a start outside 0 to the volume.
    """
    draw, supply = np.asarray(draw_l, float), np.asarray(supply_l, float)
    if draw.shape != supply.shape or draw.ndim != 1:
        raise ValueError("draw and supply must have the same number of steps")
    start = volume_l if start_l is None else start_l
    if not 0.0 <= start <= volume_l < np.inf:
        raise ValueError(f"{start:g} L does not fit a tank of {volume_l:g} L")
    level, drawn, taken = np.empty(len(draw)), np.empty(len(draw)), np.empty(len(draw))
    water = start
    for step, (wanted, offered) in enumerate(zip(draw, supply, strict=True)):
        drawn[step] = min(wanted, water + offered)
        taken[step] = min(offered, volume_l - water + drawn[step])
        water = min(max(water + taken[step] - drawn[step], 0.0), volume_l)
        level[step] = water
    return TankDays(level, drawn, draw - drawn, taken, start)


def header_tank_volume_l(
    daily_demand_l: float,
    supply_l_min: float,
    curve: str = "two peaks",
    fill_hours: tuple[float, float] = (0.0, 24.0),
    reserve_days: float = 0.0,
) -> float:
    """Return the usable volume of a header tank: balancing volume plus reserve [L].

    Parameters
    ----------
    daily_demand_l : float
        Water drawn on the peak day [L].
    supply_l_min : float
        Flow of the source while it runs [L/min].
    curve : str
        Shape of the day, see `drinking_shares`.
    fill_hours : (float, float)
        Hours between which the source runs, over midnight where the second is the smaller.
    reserve_days : float
        Days of full demand kept beneath, with no inflow; published rules: 3 days (NRCS South
        Dakota and Kansas), 4 (Agriculture Victoria).

    Returns
    -------
    float
        Volume [L]; infinite where the source gives less than a day's demand in its hours.
    """
    minutes = 24.0 * 60.0 / STEPS_A_DAY
    supply = supply_l_min * minutes * hours_share(*fill_hours)
    balancing = balancing_volume_l(daily_demand_l * drinking_shares(curve), supply)
    return balancing + reserve_days * daily_demand_l
