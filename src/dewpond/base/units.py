"""Physical constants and the few conversions between the units of the trade."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

STANDARD_GRAVITY_M_S2 = 9.80665
"""Standard acceleration of free fall [m/s²], by definition (3rd CGPM, 1901)."""

WATER_DENSITY_KG_M3 = 999.70
"""Density of water at 10 °C and 0.1 MPa [kg/m³], IAPWS-95."""

METRES_PER_FOOT = 0.3048
"""International foot [m], by definition; the US survey foot is 2 parts in a million longer."""

PASCALS_PER_BAR = 100_000.0
"""Bar [Pa], by definition."""

KILOGRAMS_PER_POUND = 0.45359237
"""Avoirdupois pound [kg], by definition."""

LITRES_PER_US_GALLON = 3.785411784
"""US liquid gallon [L], by definition (231 cubic inches)."""

MINUTES_PER_HOUR = 60.0
SQUARE_METRES_PER_HECTARE = 10_000.0
_L_MIN_PER_M3_S = 60_000.0


def head_m_from_bar(pressure_bar: float) -> float:
    """Return the head of 10 °C water [m] that stands for a gauge pressure [bar].

    >>> round(head_m_from_bar(1.0), 2)
    10.2
    """
    return pressure_bar * PASCALS_PER_BAR / (WATER_DENSITY_KG_M3 * STANDARD_GRAVITY_M_S2)


def bar_from_head_m(head_m: float) -> float:
    """Return the gauge pressure [bar] under a head of 10 °C water [m].

    >>> round(bar_from_head_m(30.0), 3)
    2.941
    """
    return head_m * WATER_DENSITY_KG_M3 * STANDARD_GRAVITY_M_S2 / PASCALS_PER_BAR


def m3_s_from_l_min(flow_l_min: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Return a flow in cubic metres a second from litres a minute.

    >>> float(m3_s_from_l_min(60.0))
    0.001
    """
    return np.asarray(flow_l_min, float) / _L_MIN_PER_M3_S


def l_min_from_m3_s(flow_m3_s: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Return a flow in litres a minute from cubic metres a second.

    >>> float(l_min_from_m3_s(0.001))
    60.0
    """
    return np.asarray(flow_m3_s, float) * _L_MIN_PER_M3_S
