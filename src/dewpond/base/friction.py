"""Head lost to friction in full pipes, its slope and its inverse, on arrays in SI units.

Flow is signed: a loss has the sign of its flow, so that head never rises along the flow.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq
from scipy.special import wrightomega

from dewpond.base.surface import FloatArray
from dewpond.base.units import STANDARD_GRAVITY_M_S2

LAMINAR_LIMIT = 2000.0
"""Reynolds number below which flow is laminar (EPA/600/R-20/133, chapter 12)."""

TURBULENT_LIMIT = 4000.0
"""Reynolds number above which Colebrook's law holds (same source)."""

VISCOSITY_AT_10_C_M2_S = 1.3063e-6
"""Kinematic viscosity of water at 10 °C [m²/s], IAPWS."""

ROUGHNESS_PE_M = 1.0e-5
"""Roughness of PE80 and PE100 pipe [m], pipe type list of the open library pandapipes."""

VALVE_DISCHARGE_COEFFICIENT = 0.6
"""Discharge coefficient of a float-valve seat: common practice, no source (from memory)."""

_TWO_LOG10 = 2.0 / np.log(10.0)
_HAZEN_WILLIAMS_SI = 10.667  # 4.727 (feet, cubic feet a second) converted, with d^-4.871
_HAZEN_WILLIAMS_FLOW_POWER = 1.852
_HAZEN_WILLIAMS_BORE_POWER = -4.871
_LEAST_REYNOLDS = 1e-6
_LEAST_FLOW_M3_S = 1e-7  # laws without a laminar range are made linear below this flow


class FrictionLaw(Protocol):
    """What the network solver and the sizing ask of a law of friction."""

    def loss_and_slope_per_metre(
        self, flow_m3_s: npt.ArrayLike, bore_m: npt.ArrayLike
    ) -> tuple[FloatArray, FloatArray]:
        """Return head lost a metre [m/m] and its derivative by flow [s/m³], broadcast."""


def reynolds_number(
    flow_m3_s: npt.ArrayLike,
    bore_m: npt.ArrayLike,
    viscosity_m2_s: npt.ArrayLike = VISCOSITY_AT_10_C_M2_S,
) -> FloatArray:
    """Return Re = 4 |Q| / (π D ν) of a full round pipe [-]."""
    flow, bore = np.abs(np.asarray(flow_m3_s, float)), np.asarray(bore_m, float)
    return np.asarray(4.0 * flow / (np.pi * bore * np.asarray(viscosity_m2_s, float)))


def colebrook_factor_and_slope(
    reynolds: npt.ArrayLike, relative_roughness: npt.ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Return Colebrook's Darcy friction factor, to machine precision, and its slope by Re.

    Parameters
    ----------
    reynolds : array_like
        Reynolds number [-], valid above 4000.
    relative_roughness : array_like
        Roughness over bore [-], 0 to 0.05.

    Returns
    -------
    factor, slope : array
        f [-] and df/dRe [-].

    Notes
    -----
    With a = ε/3.7D, b = 2.51/Re, c = 2/ln 10 and x = 1/√f, Colebrook reads
    x = -c ln(a + b x). Writing a + b x = b c w turns it into w + ln w = a/(b c) - ln(b c), which
    is Wright's omega function (Corless & Jeffrey 2002); then x = -c ln(b c w).

    Examples
    --------
    >>> round(float(colebrook_factor_and_slope(1e5, 1e-4)[0]), 7)
    0.0185139
    """
    re = np.asarray(reynolds, float)
    bc = 2.51 * _TWO_LOG10 / re
    rough = np.asarray(relative_roughness, float) / 3.7
    omega = wrightomega(rough / bc - np.log(bc))
    root = -_TWO_LOG10 * np.log(bc * omega)
    factor = root**-2
    # Implicit derivative; a + b x + b c, divided through by b c, is omega + 1.
    root_slope = root / (re * (omega + 1.0))
    return factor, -2.0 * factor / root * root_slope


def friction_factor_and_slope(
    reynolds: npt.ArrayLike, relative_roughness: npt.ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Return the Darcy friction factor in all regimes, and its slope by Reynolds number.

    64/Re below 2000, Colebrook above 4000, and between them Dunlop's cubic (EPA/600/R-20/133,
    chapter 12), which meets value and slope at both ends. Dunlop wrote the upper end with the
    factor of Swamee and Jain, up to 2 % from Colebrook there; the same cubic is used here with
    Colebrook's own value and slope at 4000, so that the factor has no step. (The sign that the
    2.2 manual prints in the slope at 4000 is wrong; taking the slope itself avoids it.)

    Parameters
    ----------
    reynolds : array_like
        Reynolds number [-], not negative; a zero is taken as 1e-6.
    relative_roughness : array_like
        Roughness over bore [-].

    Returns
    -------
    factor, slope : array
        f [-] and df/dRe [-].
    """
    re = np.maximum(np.asarray(reynolds, float), _LEAST_REYNOLDS)
    factor, slope = colebrook_factor_and_slope(np.maximum(re, TURBULENT_LIMIT), relative_roughness)
    between = re < TURBULENT_LIMIT
    if not between.any():
        return factor, slope
    laminar = re <= LAMINAR_LIMIT
    cubic, cubic_slope = _transition(re / LAMINAR_LIMIT, factor, slope * LAMINAR_LIMIT)
    factor = np.where(laminar, 64.0 / re, np.where(between, cubic, factor))
    slope = np.where(laminar, -64.0 / re**2, np.where(between, cubic_slope / LAMINAR_LIMIT, slope))
    return factor, slope


def _transition(
    ratio: FloatArray, factor_end: FloatArray, slope_end: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return Dunlop's cubic in R = Re/2000 and its slope by R, from value and slope at R = 2."""
    fa, fb = factor_end, 2.0 * (factor_end + slope_end)
    x1 = 7.0 * fa - fb
    x2 = 0.128 - 17.0 * fa + 2.5 * fb
    x3 = -0.128 + 13.0 * fa - 2.0 * fb
    x4 = 0.032 - 3.0 * fa + 0.5 * fb
    factor = x1 + ratio * (x2 + ratio * (x3 + ratio * x4))
    return factor, x2 + ratio * (2.0 * x3 + 3.0 * ratio * x4)


@dataclass(frozen=True, eq=False)
class DarcyWeisbach:
    """h/L = f V|V| / (2 g D), with the factor of `friction_factor_and_slope`.

    Attributes
    ----------
    viscosity_m2_s : float
        Kinematic viscosity [m²/s].
    roughness_m : array_like
        Roughness of the wall [m], one value or one a pipe.
    """

    viscosity_m2_s: float = VISCOSITY_AT_10_C_M2_S
    roughness_m: npt.ArrayLike = ROUGHNESS_PE_M

    def loss_and_slope_per_metre(
        self, flow_m3_s: npt.ArrayLike, bore_m: npt.ArrayLike
    ) -> tuple[FloatArray, FloatArray]:
        """Return head lost a metre [m/m] and its derivative by flow [s/m³], broadcast."""
        flow, bore = np.asarray(flow_m3_s, float), np.asarray(bore_m, float)
        flow_of_one = 0.25 * np.pi * bore * self.viscosity_m2_s  # flow at which Re is 1
        reynolds = np.maximum(np.abs(flow) / flow_of_one, _LEAST_REYNOLDS)
        factor, slope = friction_factor_and_slope(
            reynolds, np.asarray(self.roughness_m, float) / bore
        )
        scale = reynolds * flow_of_one * _velocity_head_scale(bore) / bore
        return factor * scale * flow, (2.0 * factor + reynolds * slope) * scale

    def flow_m3_s(self, loss_per_metre: npt.ArrayLike, bore_m: npt.ArrayLike) -> FloatArray:
        """Return the flow [m³/s] that loses a given head a metre [m/m], to machine precision.

        Laminar and turbulent flow come straight from the law (Re √f follows from the loss alone,
        so Colebrook is explicit); the range between is bisected.
        """
        loss, bore = np.broadcast_arrays(
            np.asarray(loss_per_metre, float), np.asarray(bore_m, float)
        )
        rough = np.broadcast_to(np.asarray(self.roughness_m, float), loss.shape) / bore
        friction_velocity = np.sqrt(2.0 * STANDARD_GRAVITY_M_S2 * bore * np.abs(loss))
        re_root_f = np.maximum(friction_velocity * bore / self.viscosity_m2_s, _LEAST_REYNOLDS)
        laminar = re_root_f**2 / 64.0
        turbulent = -_TWO_LOG10 * re_root_f * np.log(rough / 3.7 + 2.51 / re_root_f)
        reynolds = np.where(laminar <= LAMINAR_LIMIT, laminar, turbulent)
        between = (laminar > LAMINAR_LIMIT) & (turbulent < TURBULENT_LIMIT)
        if between.any():
            reynolds[between] = _reynolds_in_transition(re_root_f[between], rough[between])
        flow = np.sign(loss) * reynolds * 0.25 * np.pi * bore * self.viscosity_m2_s
        return np.asarray(flow)


def _reynolds_in_transition(re_root_f: FloatArray, relative_roughness: FloatArray) -> FloatArray:
    """Return the Reynolds number between 2000 and 4000 with a given Re √f, by bisection."""
    low = np.full(re_root_f.shape, LAMINAR_LIMIT)
    high = np.full(re_root_f.shape, TURBULENT_LIMIT)
    for _ in range(50):  # 2000 / 2^50 is below the spacing of doubles at 4000
        middle = 0.5 * (low + high)
        factor, _slope = friction_factor_and_slope(middle, relative_roughness)
        above = middle * np.sqrt(factor) > re_root_f
        high, low = np.where(above, middle, high), np.where(above, low, middle)
    return 0.5 * (low + high)


@dataclass(frozen=True, eq=False)
class HazenWilliams:
    """h/L = 10.667 Q^1.852 / (C^1.852 D^4.871), water near 15 °C in turbulent flow only.

    Optimistic for small cold pipe: with C = 150 it loses 8 to 24 % less than Darcy-Weisbach at
    10 °C in 20 to 90 mm PE. Source: EPA/600/R-20/133, chapter 3, converted from feet.

    Attributes
    ----------
    coefficient : array_like
        C [-], one value or one a pipe; plastic 140 to 150.
    """

    coefficient: npt.ArrayLike = 140.0

    def loss_and_slope_per_metre(
        self, flow_m3_s: npt.ArrayLike, bore_m: npt.ArrayLike
    ) -> tuple[FloatArray, FloatArray]:
        """Return head lost a metre [m/m] and its derivative by flow [s/m³], broadcast."""
        bore, power = np.asarray(bore_m, float), _HAZEN_WILLIAMS_FLOW_POWER
        scale = _HAZEN_WILLIAMS_SI * bore**_HAZEN_WILLIAMS_BORE_POWER
        return power_loss_and_slope(
            flow_m3_s, scale * np.asarray(self.coefficient, float) ** -power, power
        )

    def flow_m3_s(self, loss_per_metre: npt.ArrayLike, bore_m: npt.ArrayLike) -> FloatArray:
        """Return the flow [m³/s] that loses a given head a metre [m/m]."""
        loss, bore = np.asarray(loss_per_metre, float), np.asarray(bore_m, float)
        scale = _HAZEN_WILLIAMS_SI * bore**_HAZEN_WILLIAMS_BORE_POWER
        coefficient = np.asarray(self.coefficient, float)
        size = (np.abs(loss) / scale) ** (1.0 / _HAZEN_WILLIAMS_FLOW_POWER) * coefficient
        return np.asarray(np.sign(loss) * size)


@dataclass(frozen=True, eq=False)
class FixedFactor:
    """Darcy-Weisbach with a friction factor that does not change with flow, as in many textbooks.

    Attributes
    ----------
    factor : array_like
        Darcy friction factor [-] (four times Fanning's), one value or one a pipe.
    """

    factor: npt.ArrayLike

    def loss_and_slope_per_metre(
        self, flow_m3_s: npt.ArrayLike, bore_m: npt.ArrayLike
    ) -> tuple[FloatArray, FloatArray]:
        """Return head lost a metre [m/m] and its derivative by flow [s/m³], broadcast."""
        bore = np.asarray(bore_m, float)
        scale = np.asarray(self.factor, float) * _velocity_head_scale(bore) / bore
        return power_loss_and_slope(flow_m3_s, scale, 2.0)


def power_loss_and_slope(
    flow_m3_s: npt.ArrayLike, scale: npt.ArrayLike, power: npt.ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Return scale Q |Q|^(power-1) [m] and its derivative by flow, linear below 1e-7 m³/s.

    The straight part keeps the derivative off zero, where a Newton step would divide by it; it
    moves no head by more than a hundredth of a millimetre in any pipe or valve of the trade.
    """
    flow, exponent = np.asarray(flow_m3_s, float), np.asarray(power, float)
    size = np.maximum(np.abs(flow), _LEAST_FLOW_M3_S)
    steepness = np.asarray(scale, float) * size ** (exponent - 1.0)
    slope = np.where(np.abs(flow) < _LEAST_FLOW_M3_S, steepness, exponent * steepness)
    return steepness * flow, slope


def bore_for_loss_m(
    law: FrictionLaw, flow_m3_s: float, loss_per_metre: float, widest_m: float = 10.0
) -> float:
    """Return the bore [m] in which a flow loses just the given head a metre.

    Raises
    ------
    ValueError
        Where flow or loss is not positive, or no bore between 0.1 mm and the widest fits.
    """
    if flow_m3_s <= 0 or loss_per_metre <= 0:
        raise ValueError("flow and loss must both be greater than zero")

    def excess(log_bore: float) -> float:
        loss, _slope = law.loss_and_slope_per_metre(flow_m3_s, np.exp(log_bore))
        return float(np.log(loss / loss_per_metre))

    low, high = np.log(1e-4), np.log(widest_m)
    if excess(low) < 0 or excess(high) > 0:
        raise ValueError(f"no bore up to {widest_m} m loses {loss_per_metre} m a metre")
    return float(np.exp(brentq(excess, low, high, xtol=1e-13)))


def minor_loss_m(
    coefficient: npt.ArrayLike, flow_m3_s: npt.ArrayLike, bore_m: npt.ArrayLike
) -> FloatArray:
    """Return K V|V| / 2g [m], the loss in fittings with coefficient K [-] (see fittings.csv)."""
    flow = np.asarray(flow_m3_s, float)
    scale = np.asarray(coefficient, float) * _velocity_head_scale(np.asarray(bore_m, float))
    return np.asarray(scale * flow * np.abs(flow))


def velocity_m_s(flow_m3_s: npt.ArrayLike, bore_m: npt.ArrayLike) -> FloatArray:
    """Return the mean speed of flow in a full round pipe [m/s]."""
    area = 0.25 * np.pi * np.asarray(bore_m, float) ** 2
    return np.asarray(np.asarray(flow_m3_s, float) / area)


def float_valve_coefficient_m2(
    seat_bore_m: npt.ArrayLike, discharge_coefficient: npt.ArrayLike = VALVE_DISCHARGE_COEFFICIENT
) -> FloatArray:
    """Return Cd A [m²] of a float valve, from the bore of its seat [m]."""
    area = 0.25 * np.pi * np.asarray(seat_bore_m, float) ** 2
    return np.asarray(np.asarray(discharge_coefficient, float) * area)


def float_valve_flow_m3_s(head_m: npt.ArrayLike, coefficient_m2: npt.ArrayLike) -> FloatArray:
    """Return q = Cd A √(2 g h) [m³/s] of a fully open float valve under a head [m]; none below 0.

    The orifice law is the standard one; that a trough valve follows it with Cd about 0.6 is
    common practice, no source.
    """
    head = np.maximum(np.asarray(head_m, float), 0.0)
    root = np.sqrt(2.0 * STANDARD_GRAVITY_M_S2 * head)
    return np.asarray(np.asarray(coefficient_m2, float) * root)


def float_valve_head_m(flow_m3_s: npt.ArrayLike, coefficient_m2: npt.ArrayLike) -> FloatArray:
    """Return the head [m] that a fully open float valve needs to pass a flow [m³/s]."""
    speed = np.asarray(flow_m3_s, float) / np.asarray(coefficient_m2, float)
    return np.asarray(speed**2 / (2.0 * STANDARD_GRAVITY_M_S2))


def _velocity_head_scale(bore_m: FloatArray) -> FloatArray:
    """Return V²/2g over Q² [s²/m⁵]."""
    return np.asarray(8.0 / (np.pi**2 * STANDARD_GRAVITY_M_S2 * bore_m**4))
