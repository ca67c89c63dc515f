"""The tank through the day: volume, reserve, and whether stock go short."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dewpond.base.pumps import SOLAR_RESERVE_DAYS
from dewpond.base.settings import SupplySettings
from dewpond.base.storage import (
    STEPS_A_DAY,
    balancing_volume_l,
    drinking_shares,
    hours_share,
    run_tank,
)
from dewpond.base.surface import FloatArray
from dewpond.base.units import MINUTES_PER_HOUR

_STEP_MIN = 24.0 * MINUTES_PER_HOUR / STEPS_A_DAY
_NOON = 12.0
_DAYS = 5  # after which a tank that starts full shows what it does every day
_CURVES = {"dawn to dusk": "daytime"}  # the setting's words for a shape of the day


@dataclass(frozen=True)
class TankDay:
    """A tank sized for a day's demand.

    Attributes
    ----------
    inflow_l_min : float
        Flow while it fills: what there is, or where that is too little, what it would take.
    balance_l : float
        Greatest shortage of the day, which the tank must bridge.
    reserve_l : float
    """

    inflow_l_min: float
    balance_l: float
    reserve_l: float

    @property
    def volume_l(self) -> float:
        """Usable volume [L]."""
        return self.balance_l + self.reserve_l


def filling_steps(hours: float, supply: SupplySettings, solar: bool) -> FloatArray:
    """Return the share of each quarter of an hour in which a tank fills.

    Within the hours set for it; by sun, so many hours of full sun about noon.
    """
    if solar:
        return hours_share(_NOON - hours / 2.0, _NOON + hours / 2.0)
    return hours_share(supply.fill_from_hour, supply.fill_to_hour)


def size_tank(
    daily_l: float, flow_l_min: float, hours: float, supply: SupplySettings, solar: bool = False
) -> TankDay:
    """Return the tank that carries a day's demand and its reserve.

    Parameters
    ----------
    daily_l : float
        Demand of the peak day [L].
    flow_l_min : float
        Flow that can run in [L/min]; inf where nothing limits it, NaN where unknown. The tank is
        reckoned for no more than brings the day's demand within the hours, as a float valve or
        pump switch holds it.
    hours : float
        Hours a day in which it fills.
    supply : SupplySettings
    solar : bool
        Filled by sun: at least 3 days in reserve (NRCS South Dakota, SD2006-1).
    """
    needed = daily_l / (hours * MINUTES_PER_HOUR) if hours > 0 else np.inf
    inflow = flow_l_min if needed <= flow_l_min < np.inf else needed
    steps = filling_steps(hours, supply, solar)
    balance = balancing_volume_l(daily_l * _shares(supply), inflow * _STEP_MIN * steps)
    days = max(supply.reserve_days, SOLAR_RESERVE_DAYS) if solar else supply.reserve_days
    return TankDay(inflow, balance, days * daily_l)


def size_hauled_tank(daily_l: float, load_l: float, supply: SupplySettings) -> TankDay:
    """Return the tank that bridges the time between loads, spread over the filling hours."""
    trips = trips_a_day(daily_l, load_l)
    steps = np.zeros(STEPS_A_DAY)
    allowed = np.flatnonzero(filling_steps(24.0, supply, solar=False) > 0)
    spread = (np.arange(trips) + 0.5) / max(trips, 1) * allowed.size
    np.add.at(steps, allowed[spread.astype(int)], daily_l / max(trips, 1))
    balance = balancing_volume_l(daily_l * _shares(supply), steps)
    # The valve cannot hold a load back: there must be room for all of it as well.
    return TankDay(0.0, max(balance, min(load_l, daily_l)), supply.reserve_days * daily_l)


def trips_a_day(daily_l: float, load_l: float) -> int:
    """Return how many loads a day's water takes."""
    return int(np.ceil(daily_l / load_l - 1e-9))


def short_of_a_day_l(
    daily_l: float,
    flow_l_min: float,
    hours: float,
    volume_l: float,
    supply: SupplySettings,
    solar: bool = False,
) -> float:
    """Return what stock go short of on a day, once a tank of a volume has settled [L]."""
    draw = np.tile(daily_l * _shares(supply), _DAYS)
    flow = min(flow_l_min, 2.0 * volume_l / _STEP_MIN + daily_l)  # past any that could matter
    offered = np.tile(flow * _STEP_MIN * filling_steps(hours, supply, solar), _DAYS)
    return float(run_tank(draw, offered, volume_l).short_l[-STEPS_A_DAY:].sum())


def _shares(supply: SupplySettings) -> FloatArray:
    return drinking_shares(_CURVES.get(supply.drinking_curve, supply.drinking_curve))
