"""What a source gives, by hand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dewpond.base.errors import InputError
from dewpond.base.model import Intake
from steps.supply.supply_farm import farm

BAR_M = 1e5 / (999.70 * 9.80665)
MAIN = {"name": "main", "kind": "mains", "static_pressure_bar": 3.0}
BUCKET = {"litres": 12.0, "seconds": 33.0}
WET = {"dry_summer_factor": 1.0}


def flow_at(intake: Intake, level_m: float) -> float:
    return float(np.interp(-level_m, -intake.level_m, intake.flow_l_min))


def test_a_timed_bucket_is_the_flow_with_no_pressure_left() -> None:
    """12 L in 33 s are 21.8 L/min; at that flow the water stands at the tap, 100 m."""
    intake = farm({**MAIN, "bucket_l": 12.0, "bucket_s": 33.0}, supply=WET).intake()
    assert flow_at(intake, 100.0) == pytest.approx(21.8, abs=0.05)
    assert intake.level_m[0] == pytest.approx(100.0 + 3.0 * BAR_M)
    assert intake.daily_volume_l == pytest.approx(720.0 / 33.0 * 1440.0)
    assert not intake.pumped
    assert np.isnan(intake.pump_head_m)


def test_the_curve_falls_by_the_power_1_85() -> None:
    """At half the open flow, 0.5^1.85 = 27.7 % of the pressure is gone."""
    intake = farm({**MAIN, "bucket_l": 12.0, "bucket_s": 33.0}, supply=WET).intake()
    half = float(intake.level_at_m(360.0 / 33.0))
    assert half == pytest.approx(100.0 + 3.0 * BAR_M * (1.0 - 0.27739), abs=0.01)


def test_a_dry_summer_scales_the_flow_at_every_pressure() -> None:
    source = {**MAIN, "bucket_l": 12.0, "bucket_s": 33.0}
    wet, dry = farm(source, supply=WET).intake(), farm(source).intake()
    for level in (105.0, 115.0, 125.0):
        assert flow_at(dry, level) == pytest.approx(0.8 * flow_at(wet, level), rel=2e-3)


def test_the_worst_of_several_open_buckets_counts() -> None:
    source = {**MAIN, "bucket": [BUCKET, {"litres": 12.0, "seconds": 40.0, "hour": 7.5}]}
    assert flow_at(farm(source, supply=WET).intake(), 100.0) == pytest.approx(18.0, abs=0.02)


def test_a_bucket_at_a_lower_tap_is_carried_to_the_gauge() -> None:
    """10 m lower the main has 40.6 m to lose, not 30.6: less flow is left at the gauge."""
    source = {**MAIN, "bucket": [{**BUCKET, "level_m": 90.0}]}
    intake = farm(source, supply=WET).intake()
    head = 3.0 * BAR_M
    expected = 720.0 / 33.0 * (head / (head + 10.0)) ** (1.0 / 1.85)
    assert flow_at(intake, 100.0) == pytest.approx(expected, rel=1e-3)


def test_a_bucket_through_a_valve_is_a_lower_bound() -> None:
    valve = {**BUCKET, "seconds": 60.0, "through": "valve"}
    both = farm({**MAIN, "bucket": [BUCKET, valve]}, supply=WET).intake()
    assert flow_at(both, 100.0) == pytest.approx(720.0 / 33.0, abs=0.05)
    alone = farm({**MAIN, "bucket": [valve]}, supply=WET).intake()
    assert flow_at(alone, 100.0) == pytest.approx(12.0, abs=0.05)
    assert "through a valve" in alone.warnings[0]


def test_a_bucket_above_the_pressure_is_refused() -> None:
    with pytest.raises(InputError, match="above the level that the main's pressure reaches"):
        farm({**MAIN, "bucket": [{**BUCKET, "level_m": 131.0}]}).intake()


def test_a_main_without_a_bucket_says_what_is_missing() -> None:
    intake = farm(MAIN).intake()
    assert intake.level_at_m(50.0) == pytest.approx(100.0 + 3.0 * BAR_M)
    assert "no bucket was timed" in intake.warnings[0]


def test_a_tank_stands_at_one_level() -> None:
    tank = {"name": "t", "kind": "header_tank", "height_above_ground_m": 1.5}
    intake = farm(tank).intake()
    np.testing.assert_allclose(intake.level_at_m([0.0, 5.0, 500.0]), 101.5)
    assert np.isinf(intake.daily_volume_l)
    assert "kept full" in intake.warnings[0]


def test_a_spring_is_limited_by_its_yield_not_its_level() -> None:
    spring = {"name": "s", "kind": "spring", "yield_l_min": 3.0, "yield_l_day": 4000.0}
    intake = farm(spring).intake()
    np.testing.assert_allclose(intake.level_at_m([0.0, 2.0, 10.0]), 100.0)
    assert intake.daily_volume_l == 4000.0
    assert farm({**spring, "yield_l_day": 9000.0}).intake().daily_volume_l == 4320.0


def test_a_given_pump_curve_is_read_between_its_points() -> None:
    pump = {
        "water_level_below_m": 20.0, "curve_flow_l_min": [0.0, 4.0, 8.0],
        "curve_head_m": [60.0, 50.0, 30.0],
    }  # fmt: skip
    intake = farm({"name": "b", "kind": "borehole", "yield_l_min": 9.0, "pump": pump}).intake()
    assert intake.pumped
    np.testing.assert_allclose(
        intake.level_at_m([0.0, 2.0, 4.0, 6.0, 8.0]), [140, 135, 130, 120, 110]
    )
    assert intake.pump_head_m == pytest.approx(50.0 - 20.0 * (2400.0 / 420.0 - 4.0) / 4.0)


def test_a_pump_from_scratch_lifts_to_the_highest_need() -> None:
    """Outlet 2 at 130 m + 5 m there + 6 m for 600 m of pipe, from water 20 m down: 61 m.

    By the single-point rule 4/3 of it at no flow, none at twice the flow (EPA/600/R-20/133).
    """
    bore = {"name": "b", "kind": "borehole", "pump": {"water_level_below_m": 20.0}}
    intake = farm(bore, slope=0.05).intake()
    assert intake.pump_head_m == pytest.approx(61.0, abs=0.05)
    total = 2400.0 / 420.0
    expected = 80.0 + intake.pump_head_m * np.array([4.0 / 3.0, 1.0, 0.0])
    np.testing.assert_allclose(intake.level_at_m([0.0, total, 2.0 * total]), expected, atol=1e-6)
    set_by_hand = {**bore, "pump": {"water_level_below_m": 20.0, "head_m": 70.0}}
    assert farm(set_by_hand, slope=0.05).intake().pump_head_m == 70.0


def test_a_ridge_on_the_way_sets_the_head_of_a_pump() -> None:
    """Downhill the highest need is at the source itself: 100 m and 1 m over the ground."""
    bore = {"name": "b", "kind": "borehole", "pump": {"water_level_below_m": 20.0}}
    assert farm(bore, slope=-0.05).intake().pump_head_m == pytest.approx(21.0, abs=0.1)


def test_a_pump_that_is_not_needed_is_left_out() -> None:
    main = {**MAIN, "bucket_l": 12.0, "bucket_s": 33.0, "pump": {}}
    intake = farm(main, slope=-0.05).intake()
    assert intake.pump_head_m == 0.0
    assert "No pump is needed" in intake.reason


def test_a_solar_pump_fills_a_tank_in_its_hours_of_sun() -> None:
    stream = {"name": "beck", "kind": "surface_water", "yield_l_min": 10.0,
              "height_above_ground_m": 2.0,
              "pump": {"power": "solar", "water_level_below_m": 1.0}}  # fmt: skip
    intake = farm(stream).intake()
    assert not intake.pumped
    assert intake.level_at_m(5.0) == pytest.approx(102.0)
    assert intake.pump_head_m == pytest.approx(3.0)
    assert intake.daily_volume_l == pytest.approx(10.0 * 60.0 * 4.0)


def test_a_weak_pump_fills_at_its_duty_point() -> None:
    """60 m at no flow falling 5 m a L/min, 21 m to lift: 7.8 L/min."""
    pump = {"power": "solar", "water_level_below_m": 20.0,
            "curve_flow_l_min": [0.0, 10.0], "curve_head_m": [60.0, 10.0]}  # fmt: skip
    bore = {"name": "b", "kind": "borehole", "height_above_ground_m": 1.0, "pump": pump}
    assert farm(bore).intake().daily_volume_l == pytest.approx(7.8 * 240.0)


def test_a_tank_takes_what_the_main_brings_to_its_level() -> None:
    """The main loses 20 m of 30.6 m at the tank: (20 / 30.6)^(1/1.85) of its open flow."""
    tank = {
        "name": "t",
        "kind": "header_tank",
        "fed_by": "main",
        "level_m": 110.0 + 3 * BAR_M - 30.0,
    }
    main = {**MAIN, "bucket_l": 12.0, "bucket_s": 33.0}
    intake = farm(tank, main, supply=WET).intake()
    expected = 720.0 / 33.0 * (20.0 / (3.0 * BAR_M)) ** (1.0 / 1.85) * 1440.0
    assert intake.daily_volume_l == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(
    ("fed_by", "words"),
    [("mian", 'did you mean "main"'), ("t", "fed by another source itself")],
)
def test_a_tank_is_fed_by_what_is_there(fed_by: str, words: str) -> None:
    with pytest.raises(InputError, match=words):
        farm({"name": "t", "kind": "header_tank", "fed_by": fed_by}, MAIN)


@pytest.mark.parametrize(
    ("flow", "head"),
    [([1.0], [2.0]), ([1.0, 2.0], [3.0]), ([2.0, 1.0], [3.0, 2.0]), ([0.0, 1.0], [2.0, 2.0])],
)
def test_a_pump_curve_that_does_not_fall_is_refused(flow: list[float], head: list[float]) -> None:
    pump = {"curve_flow_l_min": flow, "curve_head_m": head}
    with pytest.raises(InputError, match="curve"):
        farm({"name": "b", "kind": "borehole", "pump": pump})


@settings(deadline=None, derandomize=True, max_examples=40)
@given(st.floats(1.0, 8.0), st.floats(2.0, 60.0), st.floats(0.0, 80.0), st.floats(0.0, 40.0))
def test_level_never_rises_with_flow(bar: float, bucket: float, first: float, more: float) -> None:
    source = {**MAIN, "static_pressure_bar": bar, "bucket_l": bucket, "bucket_s": 60.0}
    intake = farm(source).intake()
    assert (np.diff(intake.flow_l_min) > 0).all()
    assert (np.diff(intake.level_m) <= 0).all()
    assert intake.level_at_m(first + more) <= intake.level_at_m(first) + 1e-9
