"""The tank through the day by hand, and by law."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dewpond.base.settings import SupplySettings
from dewpond.base.storage import drinking_shares, hours_share, run_tank
from dewpond.steps.supply.tank import (
    short_of_a_day_l,
    size_hauled_tank,
    size_tank,
    trips_a_day,
)

EVEN = SupplySettings(drinking_curve="even", reserve_days=0.0)


def test_night_filling_by_hand() -> None:
    """2,400 L drunk evenly, filled 22:00 to 06:00: the 16 h between are stored, 1,600 L."""
    night = EVEN.model_copy(update={"fill_from_hour": 22.0, "fill_to_hour": 6.0})
    tank = size_tank(2400.0, 5.0, 8.0, night)
    assert tank.balance_l == pytest.approx(1600.0)
    assert tank.inflow_l_min == pytest.approx(5.0)
    assert short_of_a_day_l(2400.0, 5.0, 8.0, 1600.0, night) == pytest.approx(0.0, abs=1.0)
    assert short_of_a_day_l(2400.0, 5.0, 8.0, 1500.0, night) == pytest.approx(100.0, abs=1.0)


def test_an_inflow_as_even_as_the_draw_needs_no_store() -> None:
    assert size_tank(2400.0, 2400.0 / 1440.0, 24.0, EVEN).balance_l == pytest.approx(0.0, abs=1e-6)


def test_three_days_in_reserve() -> None:
    """60 pairs x 68 L x 3 days = 12,240 L: NRCS Kansas and South Dakota, at least three days."""
    three = EVEN.model_copy(update={"reserve_days": 3.0})
    assert size_tank(60 * 68.0, 100.0, 24.0, three).reserve_l == pytest.approx(12_240.0)
    by_sun = size_tank(60 * 68.0, 100.0, 4.0, EVEN, solar=True)
    assert by_sun.reserve_l == pytest.approx(12_240.0)


def test_a_source_too_weak_is_sized_for_what_it_would_take() -> None:
    tank = size_tank(2400.0, 1.0, 24.0, EVEN)
    assert tank.inflow_l_min == pytest.approx(2400.0 / 1440.0)
    assert np.isfinite(tank.volume_l)


def test_a_load_needs_room_for_itself() -> None:
    assert trips_a_day(2400.0, 1000.0) == 3
    assert trips_a_day(3000.0, 1000.0) == 3
    assert size_hauled_tank(2400.0, 1000.0, EVEN).balance_l >= 1000.0


@pytest.mark.parametrize("curve", ["even", "dawn to dusk", "two peaks"])
@pytest.mark.parametrize("window", [(0.0, 24.0), (22.0, 6.0), (6.0, 12.0)])
def test_balance_closes_to_a_litre(curve: str, window: tuple[float, float]) -> None:
    supply = SupplySettings(
        drinking_curve=curve, fill_from_hour=window[0], fill_to_hour=window[1], reserve_days=0.0
    )
    steps = hours_share(*window)
    hours = steps.sum() / 4.0
    tank = size_tank(2400.0, 12.0, hours, supply)
    name = {"dawn to dusk": "daytime"}.get(curve, curve)
    draw = np.tile(2400.0 * drinking_shares(name), 3)
    days = run_tank(draw, np.tile(tank.inflow_l_min * 15.0 * steps, 3), tank.balance_l)
    assert abs(days.imbalance_l) < 1.0
    assert days.short_l.sum() < 1.0


@settings(deadline=None, derandomize=True, max_examples=30)
@given(st.floats(100.0, 20_000.0), st.floats(0.1, 50.0), st.floats(1.0, 3.0))
def test_more_inflow_never_wants_more_tank(daily_l: float, flow: float, more: float) -> None:
    first = size_tank(daily_l, flow, 24.0, SupplySettings())
    second = size_tank(daily_l, flow * more, 24.0, SupplySettings())
    needed = daily_l / 1440.0
    assert second.volume_l <= first.volume_l + 1e-6 or flow < needed
