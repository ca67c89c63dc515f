"""Properties of fresh water at atmospheric pressure, by temperature."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

_KELVIN_AT_0_C = 273.15
_LEAST_C, _GREATEST_C = 0.0, 60.0

# Kell 1975, J. Chem. Eng. Data 20:97, eq. 16 (coefficients from memory, checked against IAPWS-95).
_DENSITY_NUMERATOR = (
    -280.54253e-12,
    105.56302e-9,
    -46.170461e-6,
    -7.9870401e-3,
    16.945176,
    999.83952,
)
_DENSITY_DENOMINATOR = (16.879850e-3, 1.0)

# IAPWS SR6-08 (2011), viscosity at 0.1 MPa (coefficients from memory, checked likewise).
_VISCOSITY_FACTOR = np.array([280.68, 511.45, 61.131, 0.45903])
_VISCOSITY_EXPONENT = np.array([-1.9, -7.7, -19.6, -40.0])

# Wagner & Pruss 1993, J. Phys. Chem. Ref. Data 22:783 (from memory, checked likewise).
_CRITICAL_TEMPERATURE_K = 647.096
_CRITICAL_PRESSURE_PA = 22.064e6
_VAPOUR_FACTOR = np.array(
    [-7.85951783, 1.84408259, -11.7866497, 22.6807411, -15.9618719, 1.80122502]
)
_VAPOUR_EXPONENT = np.array([1.0, 1.5, 3.0, 3.5, 4.0, 7.5])


@dataclass(frozen=True)
class Water:
    """Fresh water at one temperature and 0.1 MPa.

    Attributes
    ----------
    temperature_c : float
    density_kg_m3 : float
    dynamic_viscosity_pa_s : float
    vapour_pressure_pa : float
        Absolute pressure at which the water boils.
    """

    temperature_c: float
    density_kg_m3: float
    dynamic_viscosity_pa_s: float
    vapour_pressure_pa: float

    @property
    def kinematic_viscosity_m2_s(self) -> float:
        """Dynamic viscosity over density [m²/s]."""
        return self.dynamic_viscosity_pa_s / self.density_kg_m3


def water_at(temperature_c: float) -> Water:
    """Return the properties of fresh water at a temperature from 0 to 60 °C.

    Parameters
    ----------
    temperature_c : float
        Water temperature [°C].

    Returns
    -------
    Water
        Density within 0.01 kg/m³, viscosity within 0.1 % and vapour pressure within 0.1 % of
        IAPWS-95 from 1 to 40 °C.

    Raises
    ------
    ValueError
        Outside 0 to 60 °C.

    Notes
    -----
    Density: Kell 1975. Viscosity: IAPWS SR6-08. Vapour pressure: Wagner & Pruss 1993.

    Examples
    --------
    >>> round(water_at(10.0).kinematic_viscosity_m2_s * 1e6, 3)
    1.306
    """
    if not _LEAST_C <= temperature_c <= _GREATEST_C:
        raise ValueError(
            f"water temperature {temperature_c} °C is outside {_LEAST_C:g} to {_GREATEST_C:g} °C"
        )
    kelvin = temperature_c + _KELVIN_AT_0_C
    density = np.polyval(_DENSITY_NUMERATOR, temperature_c) / np.polyval(
        _DENSITY_DENOMINATOR, temperature_c
    )
    viscosity = 1e-6 * np.sum(_VISCOSITY_FACTOR * (kelvin / 300.0) ** _VISCOSITY_EXPONENT)
    below_critical = 1.0 - kelvin / _CRITICAL_TEMPERATURE_K
    exponent = np.sum(_VAPOUR_FACTOR * below_critical**_VAPOUR_EXPONENT)
    vapour = _CRITICAL_PRESSURE_PA * np.exp(_CRITICAL_TEMPERATURE_K / kelvin * exponent)
    return Water(temperature_c, float(density), float(viscosity), float(vapour))
