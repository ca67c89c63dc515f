"""Published rules for inflow and troughs, each beside its source; the visit against a tank."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dewpond.base.storage import run_tank
from dewpond.base.watering_rules import (
    DrinkingEvent,
    head_watered,
    hour_refill_volume_l,
    inflow_l_min,
    instant_refill_l_min,
    spaces_for,
)


@pytest.mark.parametrize(
    ("share", "weight_kg", "head"), [(0.15, 70, 95), (0.12, 250, 33), (0.15, 650, 10)]
)
def test_head_that_a_thousand_litres_water(share: float, weight_kg: float, head: int) -> None:
    """Common practice, no source: ewes with lambs, dry cattle, suckling cows on a peak day."""
    assert head_watered(1000, share, weight_kg) == head


def test_head_watered_does_not_lose_one_to_rounding() -> None:
    assert head_watered(3 * 0.12 * 350, 0.12, 350) == 3
    assert head_watered([8400.0, 8399.0], 0.12, 350).tolist() == [200, 199]


def test_dairy_inflow_of_teagasc() -> None:
    """100 cows, half of 70 L in 3 h, rounded up to 12 L/h each: 20 L/min (printed)."""
    exact = float(inflow_l_min(100 * 70, 0.5, 3.0))
    assert exact == pytest.approx(19.44, abs=0.01)
    assert 100 * np.ceil(exact * 60 / 100) / 60 == pytest.approx(20.0)


def test_dairy_inflow_of_davies() -> None:
    """200 cows, half of 100 L in 3 h, 17 L/h each: 56.67 L/min (56 printed), R. Davies."""
    exact = float(inflow_l_min(200 * 100, 0.5, 3.0))
    assert 200 * np.ceil(exact * 60 / 200) / 60 == pytest.approx(56.67, abs=0.7)


@pytest.mark.parametrize(("head", "litres", "flow"), [(500, 10, 20.83), (160, 100, 66.67)])
def test_day_in_four_hours(head: int, litres: float, flow: float) -> None:
    """500 dry sheep, 21 L/min; 160 dry cattle, 67 L/min (printed): Agriculture Victoria 2024."""
    assert inflow_l_min(head * litres, 1.0, 4.0) == pytest.approx(flow, abs=0.01)


def test_refill_within_an_hour() -> None:
    """2 US gal a head x 60 head = 454.2 L: USDA Livestock Watering Data Sheet."""
    assert hour_refill_volume_l(60) == pytest.approx(454.2, abs=0.1)


def test_refill_at_each_space() -> None:
    """2 US gal/min = 7.57 L/min a space: USDA Livestock Watering Data Sheet."""
    assert instant_refill_l_min(1) == pytest.approx(7.57, abs=0.005)


def test_spaces() -> None:
    assert spaces_for(160, 0.10) == 16  # the product must not round up to 17
    assert spaces_for(52, 0.10) == 6
    assert spaces_for(10, 0.04, least=2) == 2
    assert spaces_for(1, 0.04, least=2) == 1


VISITS = st.builds(
    DrinkingEvent,
    head=st.integers(1, 400).map(float),
    at_once=st.integers(1, 40).map(float),
    drink_l=st.floats(1.0, 40.0),
    rate_l_min=st.floats(1.0, 14.0),
)


@given(VISITS, st.floats(0.0, 1.2))
@settings(deadline=None, derandomize=True, max_examples=60)
def test_least_volume_is_just_enough_in_a_tank_run_step_by_step(
    visit: DrinkingEvent, share: float
) -> None:
    inflow = share * visit.draw_l_min
    volume = visit.least_volume_l(inflow)
    steps = 400
    minutes = visit.minutes / steps
    draw = np.full(steps, visit.draw_l_min * minutes)
    supply = np.full(steps, inflow * minutes)
    run = run_tank(draw, supply, volume)
    assert run.short_l.sum() == pytest.approx(0.0, abs=1e-6)
    assert run.drawn_l.sum() == pytest.approx(visit.head * visit.drink_l)
    if volume > 1.0:
        assert run_tank(draw, supply, 0.99 * volume).short_l.sum() > 0.0


@given(VISITS, st.floats(0.05, 1.2), st.floats(0.0, 2000.0))
@settings(deadline=None, derandomize=True, max_examples=60)
def test_time_to_water_all_agrees_with_a_tank_run_until_all_is_drunk(
    visit: DrinkingEvent, share: float, volume: float
) -> None:
    inflow = share * visit.draw_l_min
    minutes = visit.minutes_with(volume, inflow)
    assert minutes >= visit.minutes - 1e-9
    steps = 2000
    draw = np.full(steps, visit.draw_l_min * minutes / steps)
    drunk = run_tank(draw, np.full(steps, inflow * minutes / steps), volume).drawn_l.sum()
    assert drunk == pytest.approx(visit.head * visit.drink_l, rel=2e-3)


@given(VISITS, st.floats(0.0, 5000.0))
@settings(deadline=None, derandomize=True, max_examples=40)
def test_least_inflow_and_least_volume_are_inverse(visit: DrinkingEvent, volume: float) -> None:
    inflow = visit.least_inflow_l_min(volume)
    assert visit.least_volume_l(inflow) <= volume + 1e-6


def test_no_inflow_never_waters_the_rest() -> None:
    assert DrinkingEvent(10, 1, 10, 5).minutes_with(50.0, 0.0) == np.inf
