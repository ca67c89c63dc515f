"""Pumps by hand and by law; published values stand in tests/known/hydraulics.csv."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dewpond.base.friction import DarcyWeisbach
from dewpond.base.pumps import (
    PumpCurve,
    atmospheric_pressure_pa,
    duty_point,
    fitted_curve,
    greatest_lift_m,
    hydraulic_power_w,
    input_power_w,
    single_point_curve,
    size_solar_pump,
    suction_head_m,
    three_point_curve,
)


def loss(flow_m3_s: float) -> float:
    slope, _ = DarcyWeisbach().loss_and_slope_per_metre(flow_m3_s, 0.0408)
    return float(slope) * 900.0


def test_single_point_curve_passes_its_three_points() -> None:
    curve = single_point_curve(1e-3, 40.0)
    np.testing.assert_allclose(
        curve.head_m([0.0, 1e-3, 2e-3]), [160.0 / 3.0, 40.0, 0.0], atol=1e-12
    )
    assert curve.greatest_flow_m3_s == pytest.approx(2e-3)


def test_three_point_curve_passes_its_three_points() -> None:
    curve = three_point_curve(60.0, (1e-3, 50.0), (2e-3, 25.0))
    np.testing.assert_allclose(curve.head_m([0.0, 1e-3, 2e-3]), [60.0, 50.0, 25.0])


def test_fitted_curve_finds_the_parabola_behind_its_points() -> None:
    flow = np.linspace(0.0, 2e-3, 6)
    curve = fitted_curve(flow, 55.0 - 9e6 * flow**2)
    assert (curve.shutoff_head_m, curve.coefficient) == (pytest.approx(55.0), pytest.approx(9e6))


def test_speed_scales_flow_and_the_square_of_head() -> None:
    curve = three_point_curve(60.0, (1e-3, 50.0), (2e-3, 25.0))
    slow = curve.at_speed(0.8)
    assert slow.head_m(0.8e-3) == pytest.approx(0.64 * 50.0)
    assert slow.greatest_flow_m3_s == pytest.approx(0.8 * curve.greatest_flow_m3_s)


def test_duty_point_is_where_both_curves_meet() -> None:
    """0.8741 L/s and 43.147 m by a separate Colebrook solver (computed)."""
    duty = duty_point(single_point_curve(1e-3, 40.0), 30.0, loss)
    assert duty is not None
    assert duty.flow_m3_s * 1e3 == pytest.approx(0.8741, abs=1e-4)
    assert duty.head_m == pytest.approx(43.147, abs=1e-3)
    assert duty.head_m == pytest.approx(30.0 + loss(duty.flow_m3_s), abs=1e-9)


def test_a_pump_that_cannot_lift_has_no_duty() -> None:
    assert duty_point(single_point_curve(1e-3, 40.0), 54.0, loss) is None


def test_a_flooded_pump_may_run_past_its_curve() -> None:
    duty = duty_point(single_point_curve(1e-3, 4.0), -80.0, loss)
    assert duty is not None
    assert duty.flow_m3_s > 2e-3
    assert duty.head_m < 0.0


@settings(deadline=None, derandomize=True, max_examples=40)
@given(st.floats(1.0, 50.0), st.floats(0.1, 3.0))
def test_a_higher_lift_never_gives_more_flow(static: float, more: float) -> None:
    curve = single_point_curve(1e-3, 45.0)
    low, high = duty_point(curve, static, loss), duty_point(curve, static + more, loss)
    assert low is not None
    assert high is None or high.flow_m3_s < low.flow_m3_s


def test_lift_limit_falls_with_altitude_and_heat() -> None:
    """Head of the air on 10 °C water [m], computed from the standard atmosphere."""
    table = {0: 10.335, 500: 9.737, 1000: 9.167, 1500: 8.625, 2000: 8.109, 3000: 7.151}
    for altitude, head in table.items():
        found = atmospheric_pressure_pa(altitude) / (999.702 * 9.80665)
        assert found == pytest.approx(head, abs=2e-3)
    assert greatest_lift_m(0.0, 3.0, 0.8) == pytest.approx(suction_head_m(0.0, 0.0, 0.8) - 3.0)
    assert greatest_lift_m(1000.0, 3.0, 0.8) < greatest_lift_m(0.0, 3.0, 0.8)
    assert greatest_lift_m(0.0, 3.0, 0.8, 25.0) < greatest_lift_m(0.0, 3.0, 0.8)


def test_solar_pump_by_hand() -> None:
    solar = size_solar_pump(5000.0, 40.0, 5.0)
    assert solar.flow_m3_s == pytest.approx(5.0 / 18_000.0)
    assert solar.storage_l == 15_000.0
    energy_wh = solar.array_w * 5.0 * 0.35 * 0.8
    assert energy_wh == pytest.approx(hydraulic_power_w(5.0, 40.0) / 3600.0)


@pytest.mark.parametrize(
    "call",
    [
        lambda: single_point_curve(0.0, 40.0),
        lambda: three_point_curve(60.0, (1e-3, 65.0), (2e-3, 25.0)),
        lambda: fitted_curve([0.0, 1e-3], [20.0, 30.0]),
        lambda: fitted_curve([0.0], [20.0]),
        lambda: input_power_w(1e-3, 40.0, 1.2),
        lambda: atmospheric_pressure_pa(12_000.0),
        lambda: size_solar_pump(5000.0, 40.0, 0.0),
        lambda: size_solar_pump(5000.0, 40.0, 5.0, efficiency=1.5),
    ],
)
def test_what_makes_no_sense_is_refused(call) -> None:
    with pytest.raises(ValueError, match=r"."):
        call()


def test_curve_is_a_value() -> None:
    assert PumpCurve(40.0, 1e6) == PumpCurve(40.0, 1e6, 2.0)
