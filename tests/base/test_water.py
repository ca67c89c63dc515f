"""Water against IAPWS-95 and the IAPWS viscosity release."""

from __future__ import annotations

import pytest

from dewpond.base.units import WATER_DENSITY_KG_M3
from dewpond.base.water import water_at

# Temperature [°C], density [kg/m³], viscosity [µPa·s], vapour pressure [Pa] at 0.1 MPa, computed
# with the iapws library from IAPWS-95 and the viscosity release of 2008.
TABLE = [
    (1, 999.902, 1731.0, 657),
    (5, 999.967, 1518.2, 873),
    (8, 999.851, 1384.7, 1073),
    (10, 999.702, 1305.9, 1228),
    (12, 999.500, 1234.0, 1403),
    (15, 999.103, 1137.6, 1706),
    (20, 998.207, 1001.6, 2339),
    (25, 997.048, 890.0, 3170),
    (30, 995.649, 797.2, 4247),
    (40, 992.216, 652.7, 7385),
]


@pytest.mark.parametrize(("temperature", "density", "viscosity", "vapour"), TABLE)
def test_properties(temperature: float, density: float, viscosity: float, vapour: float) -> None:
    water = water_at(temperature)
    assert water.density_kg_m3 == pytest.approx(density, abs=0.005)
    assert water.dynamic_viscosity_pa_s * 1e6 == pytest.approx(viscosity, abs=0.06)
    assert water.vapour_pressure_pa == pytest.approx(vapour, abs=1.0)


def test_density_at_10_c_is_the_constant_of_the_package() -> None:
    assert water_at(10.0).density_kg_m3 == pytest.approx(WATER_DENSITY_KG_M3, abs=0.005)


@pytest.mark.parametrize("temperature", [-0.1, 60.1, float("nan")])
def test_temperature_out_of_range_is_refused(temperature: float) -> None:
    with pytest.raises(ValueError, match="outside 0 to 60"):
        water_at(temperature)
