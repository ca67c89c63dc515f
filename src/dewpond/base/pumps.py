"""Pumps: curves, duty point, power, what they can lift by suction, and sun to drive them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq

from dewpond.base.surface import FloatArray
from dewpond.base.units import STANDARD_GRAVITY_M_S2, WATER_DENSITY_KG_M3
from dewpond.base.water import water_at

OVERALL_EFFICIENCY = 0.35
"""Wire to water, small farm pump under 1 kW, 0.25 to 0.50 [-] (from memory)."""

ARRAY_DERATE = 0.8
"""Share of a solar panel's rating that is had in the field [-] (from memory)."""

SOLAR_RESERVE_DAYS = 3.0
"""Least days of storage with an undependable supply: NRCS South Dakota, SD2006-1, 2010."""

_SEA_LEVEL_PA = 101_325.0


@dataclass(frozen=True)
class PumpCurve:
    """h = A - B Q^C: head [m] that a pump adds at a flow [m³/s] (EPA/600/R-20/133, chapter 3).

    Attributes
    ----------
    shutoff_head_m : float
        A, head at no flow [m].
    coefficient : float
        B [m/(m³/s)^C].
    exponent : float
        C [-].
    """

    shutoff_head_m: float
    coefficient: float
    exponent: float = 2.0

    def head_m(self, flow_m3_s: npt.ArrayLike) -> FloatArray:
        """Return the head added [m] at flows of at least 0 [m³/s]; negative past the last flow."""
        flow = np.asarray(flow_m3_s, float)
        return np.asarray(self.shutoff_head_m - self.coefficient * flow**self.exponent)

    @property
    def greatest_flow_m3_s(self) -> float:
        """Flow at which no head is left [m³/s]."""
        return float((self.shutoff_head_m / self.coefficient) ** (1.0 / self.exponent))

    def at_speed(self, ratio: float) -> PumpCurve:
        """Return the curve at a share of the speed: flow with it, head with its square."""
        scaled = self.coefficient * ratio ** (2.0 - self.exponent)
        return PumpCurve(self.shutoff_head_m * ratio**2, scaled, self.exponent)


def single_point_curve(flow_m3_s: float, head_m: float) -> PumpCurve:
    """Return the curve through a design point, for a pump not yet chosen.

    Shutoff head 4/3 of the design head, no head at twice the design flow (EPA/600/R-20/133).

    Raises
    ------
    ValueError
        A flow or head that is not positive.
    """
    if flow_m3_s <= 0 or head_m <= 0:
        raise ValueError("a design point needs a flow and a head above zero")
    return PumpCurve(4.0 / 3.0 * head_m, head_m / 3.0 / flow_m3_s**2, 2.0)


def three_point_curve(
    shutoff_head_m: float, middle: tuple[float, float], last: tuple[float, float]
) -> PumpCurve:
    """Return the curve through shutoff head and two points (flow [m³/s], head [m]).

    Raises
    ------
    ValueError
        Heads that do not fall, or flows that do not rise, from point to point.
    """
    (flow_1, head_1), (flow_2, head_2) = middle, last
    if not (shutoff_head_m > head_1 > head_2 and 0 < flow_1 < flow_2):
        raise ValueError("heads must fall and flows rise along a pump curve")
    drop_1, drop_2 = shutoff_head_m - head_1, shutoff_head_m - head_2
    exponent = float(np.log(drop_2 / drop_1) / np.log(flow_2 / flow_1))
    return PumpCurve(shutoff_head_m, drop_1 / flow_1**exponent, exponent)


def fitted_curve(flow_m3_s: npt.ArrayLike, head_m: npt.ArrayLike) -> PumpCurve:
    """Return the least-squares parabola h = A - B Q² through points of a maker's curve.

    Raises
    ------
    ValueError
        Fewer than two points, or points whose head does not fall with flow.
    """
    flow, head = np.asarray(flow_m3_s, float), np.asarray(head_m, float)
    if flow.size < 2 or flow.shape != head.shape:
        raise ValueError("a curve needs two points or more, each with flow and head")
    design = np.column_stack([np.ones_like(flow), -(flow**2)])
    (shutoff, coefficient), *_rest = np.linalg.lstsq(design, head, rcond=None)
    if coefficient <= 0 or shutoff <= 0:
        raise ValueError("head must fall with flow along a pump curve")
    return PumpCurve(float(shutoff), float(coefficient), 2.0)


@dataclass(frozen=True)
class DutyPoint:
    """Where a pump meets its system: flow [m³/s] and head added [m]."""

    flow_m3_s: float
    head_m: float


def duty_point(
    curve: PumpCurve, static_head_m: float, loss_m: Callable[[float], float]
) -> DutyPoint | None:
    """Return where the pump's head equals static head plus loss; None where it cannot lift.

    Parameters
    ----------
    curve : PumpCurve
    static_head_m : float
        Level of discharge less level of supply, plus any pressure wanted there [m].
    loss_m : callable
        Loss in the pipes [m] at a flow [m³/s], rising with flow, 0 at 0.
    """

    def spare(flow: float) -> float:
        return float(curve.head_m(flow)) - static_head_m - loss_m(flow)

    if spare(0.0) <= 0.0:
        return None
    most = curve.greatest_flow_m3_s
    while spare(most) > 0.0:  # water runs down to its discharge: the pump is driven past its end
        most *= 2.0
    flow = float(brentq(spare, 0.0, most, xtol=1e-15, rtol=1e-12))
    return DutyPoint(flow, float(curve.head_m(flow)))


def hydraulic_power_w(
    flow_m3_s: float, head_m: float, density_kg_m3: float = WATER_DENSITY_KG_M3
) -> float:
    """Return ρ g Q H [W], the power that reaches the water."""
    return density_kg_m3 * STANDARD_GRAVITY_M_S2 * flow_m3_s * head_m


def input_power_w(
    flow_m3_s: float, head_m: float, efficiency: float = OVERALL_EFFICIENCY
) -> float:
    """Return the power a pump takes [W] at an efficiency from 0 to 1.

    Raises
    ------
    ValueError
        An efficiency outside 0 to 1.
    """
    if not 0.0 < efficiency <= 1.0:
        raise ValueError(f"an efficiency of {efficiency:g} is not between 0 and 1")
    return hydraulic_power_w(flow_m3_s, head_m) / efficiency


def atmospheric_pressure_pa(altitude_m: float) -> float:
    """Return the pressure of the standard atmosphere [Pa], from -500 to 11 000 m.

    101325 (1 - 2.25577e-5 z)^5.25588, ISO 2533 (from memory).
    """
    if not -500.0 <= altitude_m <= 11_000.0:
        raise ValueError(f"altitude {altitude_m:g} m is outside -500 to 11000 m")
    return float(_SEA_LEVEL_PA * (1.0 - 2.25577e-5 * altitude_m) ** 5.25588)


def suction_head_m(
    altitude_m: float, lift_m: float, loss_m: float, temperature_c: float = 10.0
) -> float:
    """Return the net positive suction head available at a pump [m].

    Parameters
    ----------
    altitude_m : float
        Height above sea level [m].
    lift_m : float
        Height of the pump above the water it draws [m], negative where it is flooded.
    loss_m : float
        Loss in the suction pipe [m].
    temperature_c : float
        Water temperature [°C].

    Notes
    -----
    (p_atm - p_vapour) / ρ g - lift - loss (form from memory).
    """
    water = water_at(temperature_c)
    pressure = atmospheric_pressure_pa(altitude_m) - water.vapour_pressure_pa
    return pressure / (water.density_kg_m3 * STANDARD_GRAVITY_M_S2) - lift_m - loss_m


def greatest_lift_m(
    altitude_m: float, required_m: float, loss_m: float, temperature_c: float = 10.0
) -> float:
    """Return the most a pump can lift by suction [m], given what head it requires at its inlet.

    The practical limit at sea level is 6 to 7 m (from memory); keep below the smaller of both.
    """
    return suction_head_m(altitude_m, 0.0, loss_m, temperature_c) - required_m


def hydraulic_energy_kwh(volume_l: float, head_m: float) -> float:
    """Return the energy that lifts a volume of water through a head [kWh]."""
    return hydraulic_power_w(volume_l / 1000.0, head_m) / 3.6e6


@dataclass(frozen=True)
class SolarPump:
    """A solar pump sized by the volume method.

    Attributes
    ----------
    flow_m3_s : float
        Flow while the sun is full.
    array_w : float
        Rated power of the panels.
    storage_l : float
        Least volume to store, for days without sun.
    """

    flow_m3_s: float
    array_w: float
    storage_l: float


def size_solar_pump(
    daily_demand_l: float,
    head_m: float,
    peak_sun_hours: float,
    efficiency: float = OVERALL_EFFICIENCY,
    derate: float = ARRAY_DERATE,
    reserve_days: float = SOLAR_RESERVE_DAYS,
) -> SolarPump:
    """Return flow, panels and storage by equivalent hours of full sun (method from memory).

    Parameters
    ----------
    daily_demand_l : float
        Water for the peak day [L].
    head_m : float
        Total head at the pump's flow, loss included [m].
    peak_sun_hours : float
        Daily sun on the panels over 1 kW/m², in the poorest month of use [h].
    efficiency : float
        Pump and motor, wire to water [-].
    derate : float
        Share of the panels' rating had in the field [-].
    reserve_days : float
        Days of demand to store.

    Raises
    ------
    ValueError
        A quantity that is not positive, or a share above 1.
    """
    if min(daily_demand_l, head_m, peak_sun_hours, efficiency, derate) <= 0:
        raise ValueError("demand, head, sun, efficiency and derate must be above zero")
    if efficiency > 1 or derate > 1:
        raise ValueError("efficiency and derate are shares of 1")
    flow = daily_demand_l / 1000.0 / (peak_sun_hours * 3600.0)
    array = 1000.0 * hydraulic_energy_kwh(daily_demand_l, head_m)
    array /= peak_sun_hours * efficiency * derate
    return SolarPump(flow, array, reserve_days * daily_demand_l)
