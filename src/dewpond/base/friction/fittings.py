"""Losses in fittings, speed of flow, and the float valve as an orifice."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from dewpond.base.surface import FloatArray
from dewpond.base.units import STANDARD_GRAVITY_M_S2

VALVE_DISCHARGE_COEFFICIENT = 0.6
"""Discharge coefficient of a float-valve seat: common practice, no source (from memory)."""


def minor_loss_m(
    coefficient: npt.ArrayLike, flow_m3_s: npt.ArrayLike, bore_m: npt.ArrayLike
) -> FloatArray:
    """Return K V|V| / 2g [m], the loss in fittings with coefficient K [-] (see fittings.csv)."""
    flow = np.asarray(flow_m3_s, float)
    scale = np.asarray(coefficient, float) * velocity_head_scale(np.asarray(bore_m, float))
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


def velocity_head_scale(bore_m: FloatArray) -> FloatArray:
    """Return V²/2g over Q² [s²/m⁵]."""
    return np.asarray(8.0 / (np.pi**2 * STANDARD_GRAVITY_M_S2 * bore_m**4))
