"""Friction against the library fluids, against explicit formulas, and by law."""

from __future__ import annotations

import fluids.friction
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dewpond.base.friction import (
    DarcyWeisbach,
    FixedFactor,
    FrictionLaw,
    HazenWilliams,
    bore_for_loss_m,
    colebrook_factor_and_slope,
    float_valve_coefficient_m2,
    float_valve_flow_m3_s,
    float_valve_head_m,
    friction_factor_and_slope,
    minor_loss_m,
    reynolds_number,
    velocity_m_s,
)

LAWS: list[FrictionLaw] = [DarcyWeisbach(), HazenWilliams(140.0), FixedFactor(0.02)]
REYNOLDS = np.geomspace(4001.0, 1e8, 60)
ROUGHNESS = np.array([0.0, *np.geomspace(1e-6, 0.05, 24)])


def test_factor_agrees_with_fluids_over_a_grid() -> None:
    found, _ = friction_factor_and_slope(REYNOLDS[:, None], ROUGHNESS)
    with np.errstate(over="ignore"):
        peer = [[fluids.friction.Colebrook(re, rough) for rough in ROUGHNESS] for re in REYNOLDS]
    np.testing.assert_allclose(found, peer, rtol=1e-10)  # asked: 0.1 %


def test_laminar_factor_agrees_with_fluids() -> None:
    reynolds = np.geomspace(1e-3, 1999.0, 40)
    peer = [fluids.friction.friction_factor(re, 1e-4) for re in reynolds]
    np.testing.assert_allclose(friction_factor_and_slope(reynolds, 1e-4)[0], peer, rtol=1e-12)


@pytest.mark.parametrize(
    ("formula", "printed", "worst"),
    [
        pytest.param(
            lambda re, e: 0.25 / np.log10(e / 3.7 + 5.74 / re**0.9) ** 2,
            0.0184524,
            0.034,
            id="Swamee & Jain 1976",
        ),
        pytest.param(
            lambda re, e: (-1.8 * np.log10((e / 3.7) ** 1.11 + 6.9 / re)) ** -2,
            0.0182651,
            0.0143,
            id="Haaland 1983",
        ),
    ],
)
def test_explicit_formulas_stay_within_their_error(formula, printed, worst) -> None:
    """Two routes to one number: printed values (EPA, Maurer), errors found with fluids 1.3.1."""
    assert formula(1e5, 1e-4) == pytest.approx(printed, abs=5e-7)
    exact, _ = colebrook_factor_and_slope(REYNOLDS[:, None], ROUGHNESS)
    assert np.abs(formula(REYNOLDS[:, None], ROUGHNESS) / exact - 1.0).max() < worst


def test_serghides_agrees_with_the_exact_factor() -> None:
    """Serghides 1984, three terms: within 0.0031 % of Colebrook (found with fluids 1.3.1)."""
    re, e = REYNOLDS[:, None], ROUGHNESS
    a = -2.0 * np.log10(e / 3.7 + 12.0 / re)
    b = -2.0 * np.log10(e / 3.7 + 2.51 * a / re)
    c = -2.0 * np.log10(e / 3.7 + 2.51 * b / re)
    serghides = (a - (b - a) ** 2 / (c - 2.0 * b + a)) ** -2
    exact, _ = colebrook_factor_and_slope(re, e)
    np.testing.assert_allclose(exact, serghides, rtol=3.2e-5)


def test_blasius_agrees_in_smooth_pipe() -> None:
    """0.3164 / Re^0.25, printed 0.03164 at 1e4 (docstrings of fluids); a few percent off."""
    blasius = 0.3164 / 1e4**0.25
    assert blasius == pytest.approx(0.03164, abs=1e-8)
    assert colebrook_factor_and_slope(1e4, 0.0)[0] == pytest.approx(blasius, rel=0.03)


def test_explicit_bore_is_near_the_exact_one() -> None:
    """Swamee & Jain 1976 (from memory): 0.04028 m for 1 L/s, 500 m, 10 m, 0.3 % above exact."""
    rough, viscosity, flow, slope = 1e-5, 1.3063e-6, 1e-3, 10.0 / 500.0
    over = 1.0 / (9.80665 * slope)
    turbulent = rough**1.25 * (flow**2 * over) ** 4.75
    bore = 0.66 * (turbulent + viscosity * flow**9.4 * over**5.2) ** 0.04
    assert bore == pytest.approx(0.04028, abs=5e-5)
    assert bore_for_loss_m(DarcyWeisbach(), flow, slope) == pytest.approx(bore, rel=4e-3)


@pytest.mark.parametrize("rough", [0.0, 3e-4, 0.01])
@pytest.mark.parametrize("edge", [2000.0, 4000.0])
def test_regimes_join_without_a_step_in_value_or_slope(edge: float, rough: float) -> None:
    below, slope_below = friction_factor_and_slope(edge * (1.0 - 1e-9), rough)
    above, slope_above = friction_factor_and_slope(edge * (1.0 + 1e-9), rough)
    assert above == pytest.approx(float(below), rel=1e-7)
    assert slope_above == pytest.approx(float(slope_below), rel=1e-6)


def test_slope_is_the_derivative_in_every_regime() -> None:
    reynolds = np.array([3.0, 500.0, 1999.0, 2100.0, 3000.0, 3900.0, 4100.0, 3e4, 2e6])
    step = 1e-5 * reynolds
    high, _ = friction_factor_and_slope(reynolds + step, 4e-4)
    low, _ = friction_factor_and_slope(reynolds - step, 4e-4)
    _, slope = friction_factor_and_slope(reynolds, 4e-4)
    np.testing.assert_allclose(slope, (high - low) / (2.0 * step), rtol=1e-6)


@pytest.mark.parametrize("law", LAWS, ids=lambda law: type(law).__name__)
def test_slope_of_a_law_is_its_derivative(law: FrictionLaw) -> None:
    flow = np.array([-2e-3, -3e-5, 2e-6, 8e-5, 1.3e-4, 5e-4, 3e-3])
    step = 1e-6 * flow
    high, _ = law.loss_and_slope_per_metre(flow + step, 0.026)
    low, _ = law.loss_and_slope_per_metre(flow - step, 0.026)
    _, slope = law.loss_and_slope_per_metre(flow, 0.026)
    np.testing.assert_allclose(slope, (high - low) / (2.0 * step), rtol=1e-5)
    assert (slope > 0).all()


@pytest.mark.parametrize("law", LAWS, ids=lambda law: type(law).__name__)
def test_no_flow_loses_nothing_and_has_a_slope(law: FrictionLaw) -> None:
    loss, slope = law.loss_and_slope_per_metre(0.0, 0.026)
    assert loss == 0.0
    assert slope > 0.0


@pytest.mark.parametrize("law", [DarcyWeisbach(), HazenWilliams(140.0)], ids=["D-W", "H-W"])
def test_flow_for_a_loss_undoes_the_loss_in_every_regime(law) -> None:
    flow = np.geomspace(2e-7, 5e-2, 300) * np.where(np.arange(300) % 2, 1.0, -1.0)
    loss, _ = law.loss_and_slope_per_metre(flow, 0.026)
    np.testing.assert_allclose(law.flow_m3_s(loss, 0.026), flow, rtol=1e-9)
    assert law.flow_m3_s(0.0, 0.026) == pytest.approx(0.0, abs=1e-12)


def test_hazen_williams_is_optimistic_for_small_cold_pipe() -> None:
    """8 to 24 % below Darcy-Weisbach in 20 to 90 mm SDR 11 at 10 °C with C = 150 (computed)."""
    bores = np.array([16.0, 20.4, 26.0, 32.6, 40.8, 51.4, 61.4, 73.6]) / 1000.0
    flows = np.array([0.1, 0.3, 0.5, 0.8, 1.5, 2.5, 2.5, 4.0]) / 1000.0
    darcy, _ = DarcyWeisbach().loss_and_slope_per_metre(flows, bores)
    hazen, _ = HazenWilliams(150.0).loss_and_slope_per_metre(flows, bores)
    assert ((hazen / darcy >= 0.76) & (hazen / darcy <= 0.925)).all()


def test_loss_table_of_sdr_11_pipe() -> None:
    """Metres a 100 m at 10 °C, roughness 0.01 mm: computed once from Colebrook."""
    rows = [(16.0, 0.1, 2.846), (16.0, 0.2, 9.575), (20.4, 0.2, 2.993), (26.0, 0.3, 1.914)]
    rows += [(32.6, 0.8, 3.664), (40.8, 1.5, 3.824), (61.4, 2.5, 1.333), (73.6, 4.0, 1.293)]
    bore, flow, expected = np.array(rows).T
    loss, _ = DarcyWeisbach().loss_and_slope_per_metre(flow / 1e3, bore / 1e3)
    np.testing.assert_allclose(loss * 100.0, expected, atol=6e-4)
    rough, _ = DarcyWeisbach(roughness_m=1e-4).loss_and_slope_per_metre(0.5e-3, 0.0326)
    assert rough * 100.0 == pytest.approx(1.847, abs=6e-4)


def test_roughness_may_differ_from_pipe_to_pipe() -> None:
    both, _ = DarcyWeisbach(roughness_m=np.array([1e-5, 1e-4])).loss_and_slope_per_metre(
        1e-3, np.array([0.0326, 0.0326])
    )
    rough, _ = DarcyWeisbach(roughness_m=1e-4).loss_and_slope_per_metre(1e-3, 0.0326)
    assert both[1] == rough > both[0]


def test_bore_for_a_loss_is_refused_without_a_loss() -> None:
    with pytest.raises(ValueError, match="greater than zero"):
        bore_for_loss_m(DarcyWeisbach(), 1e-3, 0.0)
    with pytest.raises(ValueError, match="no bore"):
        bore_for_loss_m(DarcyWeisbach(), 50.0, 1e-9, widest_m=0.1)


def test_float_valve_is_an_orifice() -> None:
    """q = Cd A √(2 g h) by hand: 6 mm seat, Cd 0.6, 10 m gives 14.26 L/min."""
    coefficient = float_valve_coefficient_m2(0.006)
    by_hand = 0.6 * np.pi / 4.0 * 0.006**2 * np.sqrt(2.0 * 9.80665 * 10.0)
    assert float_valve_flow_m3_s(10.0, coefficient) == pytest.approx(by_hand, rel=1e-12)
    assert by_hand * 6e4 == pytest.approx(14.26, abs=0.01)
    assert float_valve_head_m(by_hand, coefficient) == pytest.approx(10.0, rel=1e-12)
    assert float_valve_flow_m3_s(-3.0, coefficient) == 0.0


def test_small_parts() -> None:
    assert reynolds_number(-0.02e-3, 0.016) == pytest.approx(1218.0, abs=1.0)
    assert velocity_m_s(0.5e-3, 0.026) == pytest.approx(0.942, abs=5e-4)
    assert minor_loss_m(2.0, -1e-3, 0.05) == -minor_loss_m(2.0, 1e-3, 0.05)


@settings(deadline=None, derandomize=True, max_examples=60)
@given(st.floats(1e-8, 0.05), st.floats(1.0001, 3.0), st.floats(0.01, 0.2), st.sampled_from(LAWS))
def test_more_flow_loses_more_and_a_wider_pipe_less(flow, factor, bore, law) -> None:
    loss, _ = law.loss_and_slope_per_metre(flow, bore)
    assert law.loss_and_slope_per_metre(flow * factor, bore)[0] > loss
    assert law.loss_and_slope_per_metre(flow, bore * factor)[0] < loss
    assert law.loss_and_slope_per_metre(-flow, bore)[0] == -loss
