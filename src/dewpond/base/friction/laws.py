"""Laws of friction in pipes: head lost a metre, its slope by flow, and the flow for a loss."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq

from dewpond.base.friction.factor import (
    LAMINAR_LIMIT,
    LEAST_REYNOLDS,
    TURBULENT_LIMIT,
    TWO_LOG10,
    VISCOSITY_AT_10_C_M2_S,
    friction_factor_and_slope,
)
from dewpond.base.friction.fittings import velocity_head_scale
from dewpond.base.surface import FloatArray
from dewpond.base.units import STANDARD_GRAVITY_M_S2

ROUGHNESS_PE_M = 1.0e-5
"""Roughness of PE80 and PE100 pipe [m], pipe type list of the open library pandapipes."""

_HAZEN_WILLIAMS_SI = 10.667  # 4.727 (feet, cubic feet a second) converted, with d^-4.871
_HAZEN_WILLIAMS_FLOW_POWER = 1.852
_HAZEN_WILLIAMS_BORE_POWER = -4.871
_LEAST_FLOW_M3_S = 1e-7  # laws without a laminar range are made linear below this flow


class FrictionLaw(Protocol):
    """What the network solver and the sizing ask of a law of friction."""

    def loss_and_slope_per_metre(
        self, flow_m3_s: npt.ArrayLike, bore_m: npt.ArrayLike
    ) -> tuple[FloatArray, FloatArray]:
        """Return head lost a metre [m/m] and its derivative by flow [s/m³], broadcast."""


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
        reynolds = np.maximum(np.abs(flow) / flow_of_one, LEAST_REYNOLDS)
        factor, slope = friction_factor_and_slope(
            reynolds, np.asarray(self.roughness_m, float) / bore
        )
        scale = reynolds * flow_of_one * velocity_head_scale(bore) / bore
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
        re_root_f = np.maximum(friction_velocity * bore / self.viscosity_m2_s, LEAST_REYNOLDS)
        laminar = re_root_f**2 / 64.0
        turbulent = -TWO_LOG10 * re_root_f * np.log(rough / 3.7 + 2.51 / re_root_f)
        reynolds = np.where(laminar <= LAMINAR_LIMIT, laminar, turbulent)
        between = (laminar > LAMINAR_LIMIT) & (turbulent < TURBULENT_LIMIT)
        if between.any():
            reynolds[between] = _reynolds_in_transition(re_root_f[between], rough[between])
        flow_of_one = 0.25 * np.pi * bore * self.viscosity_m2_s
        return np.asarray(np.sign(loss) * reynolds * flow_of_one, dtype=float)


def _reynolds_in_transition(re_root_f: FloatArray, relative_roughness: FloatArray) -> FloatArray:
    """Return the Reynolds number between 2000 and 4000 with a given Re √f, by bisection."""
    low = np.full(re_root_f.shape, LAMINAR_LIMIT)
    high = np.full(re_root_f.shape, TURBULENT_LIMIT)
    for _ in range(50):  # 2000 / 2^50 is below the spacing of doubles at 4000
        middle = 0.5 * (low + high)
        factor, _slope = friction_factor_and_slope(middle, relative_roughness)
        above = middle * np.sqrt(factor) > re_root_f
        high, low = np.where(above, middle, high), np.where(above, low, middle)
    return np.asarray(0.5 * (low + high))


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
        scale = np.asarray(self.factor, float) * velocity_head_scale(bore) / bore
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
    steepness = np.asarray(scale, float) * (
        size if np.ndim(power) == 0 and power == 2.0 else size ** (exponent - 1.0)
    )
    slope = np.where(size > _LEAST_FLOW_M3_S, exponent * steepness, steepness)
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
