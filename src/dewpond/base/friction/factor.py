"""Reynolds number and the Darcy friction factor in every regime of flow."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.special import wrightomega

from dewpond.base.surface import FloatArray

LAMINAR_LIMIT = 2000.0
"""Reynolds number below which flow is laminar (EPA/600/R-20/133, chapter 12)."""

TURBULENT_LIMIT = 4000.0
"""Reynolds number above which Colebrook's law holds (same source)."""

VISCOSITY_AT_10_C_M2_S = 1.3063e-6
"""Kinematic viscosity of water at 10 °C [m²/s], IAPWS."""

TWO_LOG10 = float(2.0 / np.log(10.0))
LEAST_REYNOLDS = 1e-6


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
    bc = 2.51 * TWO_LOG10 / re
    rough = np.asarray(relative_roughness, float) / 3.7
    omega = wrightomega(rough / bc - np.log(bc))
    root = -TWO_LOG10 * np.log(bc * omega)
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
    re = np.maximum(np.asarray(reynolds, float), LEAST_REYNOLDS)
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
