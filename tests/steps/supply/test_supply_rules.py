"""Rules and arithmetic of supply against published and common-practice figures."""

from __future__ import annotations

import pytest

from dewpond.base.pumps import (
    atmospheric_pressure_pa,
    hydraulic_energy_kwh,
    hydraulic_power_w,
    single_point_curve,
    suction_head_m,
)
from dewpond.base.watering_rules import head_watered
from dewpond.steps.supply.machinery import pump_power_w
from dewpond.steps.supply.rules import abstraction_caution, air_gap_mm
from steps.supply.supply_farm import farm

GALLON_L = 3.785411784
BOWSER = {"name": "bowser", "kind": "bowser"}
STREAM = {"name": "beck", "kind": "surface_water", "yield_l_min": 60.0}
MAIN = {"name": "main", "kind": "mains", "static_pressure_bar": 3.0,
        "bucket_l": 12.0, "bucket_s": 33.0}  # fmt: skip


@pytest.mark.parametrize(
    ("share", "weight_kg", "head"), [(0.15, 70.0, 95), (0.12, 250.0, 33), (0.15, 650.0, 10)]
)
def test_how_far_a_thousand_litres_go(share: float, weight_kg: float, head: int) -> None:
    """The rule's own arithmetic; common practice, no source."""
    assert head_watered(1000.0, share, weight_kg) == head


def test_head_served_by_one_gallon_a_minute() -> None:
    """Montana MT-26 (1979): 1 US gal/min at 16 US gal a cow and day serve 90 cows."""
    assert pytest.approx(90.0) == 1440.0 * GALLON_L / (16.0 * GALLON_L)
    day = 16.0 * GALLON_L
    assert head_watered(1440.0 * GALLON_L, day / 100.0, 100.0) == 90


def test_air_gap() -> None:
    """Water regulations guidance: twice the supply bore, at least 20 mm; 26 mm gives 52."""
    assert air_gap_mm(26.0) == 52.0
    assert air_gap_mm(8.0) == 20.0


@pytest.mark.parametrize(
    ("daily_l", "words"),
    [
        (60 * 95.0, "5.7 m³ on the peak day: below the 20"),
        (15_000.0, "more than the 10 m³ a day permitted in Northern Ireland"),
        (25_000.0, "above 20 m³ a day a licence"),
    ],
)
def test_abstraction_screening(daily_l: float, words: str) -> None:
    """gov.uk: above 20 m³ a day; DAERA: up to 10 m³ a day permitted. 60 cows x 95 L = 5.7 m³."""
    assert words in abstraction_caution(daily_l)
    assert "ask the authority" in abstraction_caution(daily_l)


def test_pump_arithmetic() -> None:
    """Definitions; EPA/600/R-20/133 for the single point; a US course for shaft power."""
    assert hydraulic_power_w(1e-3, 50.0) == pytest.approx(490.2, abs=0.1)
    assert pump_power_w(60.0, 50.0, 0.35) == pytest.approx(490.2 / 0.35, abs=0.3)
    gallons_20 = 20 * GALLON_L
    horsepower = pump_power_w(gallons_20, 150 * 0.3048, 0.55) / 745.7
    assert horsepower == pytest.approx(1.377, abs=0.002)
    curve = single_point_curve(600 * GALLON_L / 60_000.0, 150 * 0.3048)
    assert curve.shutoff_head_m / 0.3048 == pytest.approx(200.0, abs=0.5)
    assert hydraulic_energy_kwh(5000.0, 40.0) == pytest.approx(0.5447, abs=5e-4)


def test_altitude_and_suction() -> None:
    """Standard atmosphere at 1,000 m, 89,876 Pa (printed); 4 m lift, 0.8 m loss leave 5.41."""
    assert atmospheric_pressure_pa(1000.0) == pytest.approx(89_876.0, abs=20.0)
    assert atmospheric_pressure_pa(1000.0) / (999.70 * 9.80665) == pytest.approx(9.167, abs=0.005)
    assert suction_head_m(0.0, 4.0, 0.8) == pytest.approx(5.41, abs=0.01)


def test_suction_limit_falls_with_altitude() -> None:
    pump = {"suction_lift_m": 5.0, "water_level_below_m": 5.0}

    def limit(level_m: float) -> float:
        source = {**STREAM, "level_m": level_m, "pump": pump}
        return farm(source, slope=-0.05).judge().pump["suction_limit_m"]

    assert limit(0.0) == pytest.approx(10.335 - 0.125 - 3.5, abs=0.01)
    assert limit(1000.0) == pytest.approx(9.167 - 0.125 - 3.5, abs=0.01)


def cautions(*sources: dict, **tables: dict) -> str:
    return "\n".join(farm(*sources, slope=-0.05, **tables).judge().cautions)


def test_a_main_brings_its_own_cautions() -> None:
    said = cautions(MAIN)
    assert "consent" in said
    assert "less than 750 mm of cover" in said
    assert "at least 41 mm above the spill-over level" in said
    assert "m³" not in said
    assert "750 to 1350 mm deep" in cautions(MAIN, design={"laying": "buried"})


def test_a_booster_over_twelve_litres_a_minute_needs_consent() -> None:
    """Water Supply (Water Fittings) Regulations 1999, regulation 5."""
    boosted = {**MAIN, "pump": {"head_m": 20.0}}
    words = "more than 12 L/min from a main"
    assert words not in "\n".join(farm(boosted, slope=0.05, flow_l_min=11.9).judge().cautions)
    assert words in "\n".join(farm(boosted, slope=0.05, flow_l_min=12.1).judge().cautions)


def test_private_water_is_screened_and_kept_apart_from_a_main() -> None:
    said = cautions(STREAM)
    assert "2.4 m³ on the peak day" in said
    assert "never be joined to the main" in said
    assert "dry season" in said


def test_a_bowser_asks_for_a_day_without_it() -> None:
    assert "24 h" in cautions(BOWSER)
