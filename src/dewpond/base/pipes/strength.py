"""What polyethylene pipe can stand: pressure class, heat, and the surge of a valve that shuts."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from dewpond.base.surface import FloatArray
from dewpond.base.units import STANDARD_GRAVITY_M_S2, WATER_DENSITY_KG_M3

DESIGN_COEFFICIENT_WATER = 1.25
"""Overall service coefficient C for water in PE pipe [-], ISO 12162 and EN 12201-1."""

PRESSURE_CLASSES_BAR = (2.5, 3.2, 4.0, 5.0, 6.0, 8.0, 10.0, 12.5, 16.0, 20.0, 25.0)
"""Nominal pressures that polyethylene pipe is classed by [bar] (from memory)."""

_DERATING_C = (20.0, 30.0, 40.0)
_DERATING_FACTOR = (1.0, 0.87, 0.74)  # EN 12201-1 / ISO 4427-1 annex A, from memory

BULK_MODULUS_WATER_PA = 2.1e9
"""Bulk modulus of water at 10 °C [Pa], as tabled in the R package hydraulics."""

SHORT_TERM_MODULUS_PE_PA = 1.0e9
"""Short-term elastic modulus of PE [Pa], 0.8 to 1.0 GPa (from memory); the stiffer is safer."""

WORKING_SHARE_WITHOUT_SURGE = 0.72
"""Share of the class to work at where surge is not worked out: NRCS Missouri, 1997, chapter 5."""


def rated_pressure_bar(
    mrs_mpa: float, sdr: float, coefficient: float = DESIGN_COEFFICIENT_WATER
) -> float:
    """Return 20 MRS / (C (SDR - 1)) [bar], the pressure for 50 years at 20 °C (ISO 4427-1).

    Parameters
    ----------
    mrs_mpa : float
        Minimum required strength [MPa]: 8 for PE80, 10 for PE100.
    sdr : float
        Outside diameter over least wall [-].
    coefficient : float
        Overall service coefficient C [-].
    """
    return 20.0 * mrs_mpa / (coefficient * (sdr - 1.0))


def pressure_class_bar(rated_bar: float) -> float:
    """Return the highest nominal pressure that a rated pressure reaches [bar].

    Examples
    --------
    >>> pressure_class_bar(rated_pressure_bar(8.0, 11.0))
    12.5
    """
    reached = [name for name in PRESSURE_CLASSES_BAR if name <= rated_bar * (1.0 + 1e-9)]
    if not reached:
        raise ValueError(f"{rated_bar:g} bar is below the lowest class, PN 2.5")
    return reached[-1]


def temperature_factor(temperature_c: float) -> float:
    """Return the share of its class that PE may carry at a wall temperature from 0 to 40 °C [-].

    1 up to 20 °C, then straight lines through 0.87 at 30 °C and 0.74 at 40 °C: EN 12201-1 and
    ISO 4427-1, annex A (from memory). Black pipe on the ground in the sun reaches 40 °C.

    Raises
    ------
    ValueError
        Above 40 °C, where the annex gives no factor for pipe of 50 years' life.
    """
    if not 0.0 <= temperature_c <= _DERATING_C[-1]:
        raise ValueError(f"pipe at {temperature_c:g} °C: factors are known from 0 to 40 °C")
    return float(np.interp(temperature_c, _DERATING_C, _DERATING_FACTOR))


def wave_speed_m_s(
    sdr: npt.ArrayLike,
    modulus_pa: float = SHORT_TERM_MODULUS_PE_PA,
    bulk_modulus_pa: float = BULK_MODULUS_WATER_PA,
) -> FloatArray:
    """Return the speed of a pressure wave in water in a thin-walled pipe [m/s].

    a = √(K/ρ) / √(1 + (K/E)(SDR - 2)), the thin-wall form (from memory).
    """
    free = math.sqrt(bulk_modulus_pa / WATER_DENSITY_KG_M3)
    stretch = bulk_modulus_pa / modulus_pa * (np.asarray(sdr, float) - 2.0)
    return np.asarray(free / np.sqrt(1.0 + stretch))


def surge_m(speed_change_m_s: npt.ArrayLike, sdr: npt.ArrayLike) -> FloatArray:
    """Return Joukowsky's rise of head a ΔV / g [m] when flow in a PE pipe stops at once."""
    change = np.asarray(speed_change_m_s, float)
    return np.asarray(wave_speed_m_s(sdr) * change / STANDARD_GRAVITY_M_S2)
