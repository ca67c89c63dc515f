"""The tank through the day: shapes, volumes by hand, and water that does not vanish."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from dewpond.base.storage import (
    DRINKING_CURVES,
    balancing_volume_l,
    drinking_shares,
    header_tank_volume_l,
    hours_share,
    run_tank,
)

HOURS = np.arange(96) / 4.0
STEPS = arrays(float, 96, elements=st.floats(0.0, 500.0))


@pytest.mark.parametrize("curve", DRINKING_CURVES)
def test_shares_make_a_whole_day(curve: str) -> None:
    shares = drinking_shares(curve)
    assert shares.shape == (96,)
    assert shares.sum() == pytest.approx(1.0, abs=1e-12)
    assert (shares >= 0).all()


@pytest.mark.parametrize("curve", ["daytime", "two peaks"])
def test_four_fifths_are_drunk_by_day(curve: str) -> None:
    """Water 2016, 8(7), 302: 80 % of intake between 05:00 and 21:00."""
    day = (HOURS >= 5) & (HOURS < 21)
    assert drinking_shares(curve)[day].sum() == pytest.approx(0.8)


def test_peaks_stand_at_seven_and_five() -> None:
    shares = drinking_shares("two peaks")
    top = np.flatnonzero(shares > shares[48] * 1.5)
    assert HOURS[top].tolist() == [7.0, 7.25, 7.5, 7.75, 17.0, 17.25, 17.5, 17.75]


def test_half_is_drunk_within_three_hours_of_milking() -> None:
    """Teagasc: up to 50 % of the day's water within 3 h of milking."""
    after = (HOURS >= 16.5) & (HOURS < 19.5)
    assert drinking_shares("milking", milking_hour=16.5)[after].sum() == pytest.approx(0.5)


def test_unknown_shapes_and_hours_are_refused() -> None:
    with pytest.raises(ValueError, match="unknown drinking curve"):
        drinking_shares("siesta")
    with pytest.raises(ValueError, match="milking"):
        drinking_shares("milking", 20.0)
    with pytest.raises(ValueError, match="not within 0 to 24"):
        hours_share(22.0, 25.0)


@pytest.mark.parametrize(
    ("first", "last", "hours"), [(8, 20, 12), (22, 6, 8), (0, 24, 24), (6.1, 6.2, 0.1), (7, 7, 24)]
)
def test_a_window_has_its_length(first: float, last: float, hours: float) -> None:
    assert hours_share(first, last).sum() / 4.0 == pytest.approx(hours)


def test_night_filling_by_hand() -> None:
    """2400 L drunk evenly, filled 22:00 to 06:00: the 16 h between must be stored, 1600 L."""
    assert header_tank_volume_l(2400.0, 5.0, "even", (22.0, 6.0)) == pytest.approx(1600.0)
    assert header_tank_volume_l(2400.0, 5.0, "even", (22.0, 6.0), 3.0) == pytest.approx(8800.0)


def test_a_source_too_weak_asks_for_no_finite_tank() -> None:
    assert header_tank_volume_l(2400.0, 4.9, "even", (22.0, 6.0)) == np.inf
    assert balancing_volume_l(np.ones(96), np.full(96, 1.0)) == 0.0


def test_a_shortfall_may_run_over_midnight() -> None:
    """50 L drawn 00:00 to 04:00 and 100 L from 20:00, 150 L fed between: 150 L lack at 04:00."""
    draw = 50.0 * hours_share(0.0, 4.0) / 16.0 + 100.0 * hours_share(20.0, 24.0) / 16.0
    supply = 150.0 * hours_share(4.0, 8.0) / 16.0
    assert balancing_volume_l(draw, supply) == pytest.approx(150.0)


def test_the_balancing_volume_just_suffices() -> None:
    draw = 5000.0 * drinking_shares("two peaks")
    supply = 15.0 * 15.0 * hours_share(21.0, 7.0)
    volume = balancing_volume_l(draw, supply)
    days = (np.tile(draw, 4), np.tile(supply, 4))
    assert run_tank(*days, volume).short_l.sum() == pytest.approx(0.0, abs=1e-9)
    assert run_tank(*days, volume - 1.0).short_l.sum() > 0.5


@settings(deadline=None, derandomize=True, max_examples=60)
@given(STEPS, STEPS, st.floats(0.0, 20_000.0), st.floats(0.0, 1.0))
def test_every_litre_is_accounted_for(draw, supply, volume, share) -> None:
    days = run_tank(draw, supply, volume, volume * share)
    assert abs(days.imbalance_l) < 1e-6  # asked: a litre
    np.testing.assert_allclose(days.drawn_l + days.short_l, draw)
    assert (days.level_l >= 0).all()
    assert (days.level_l <= volume).all()
    assert (days.taken_l <= supply + 1e-9).all()
    assert (days.short_l >= 0).all()


@settings(deadline=None, derandomize=True, max_examples=40)
@given(STEPS, STEPS, st.floats(1.0, 2.0))
def test_more_supply_never_asks_for_a_bigger_tank(draw, supply, factor) -> None:
    assert balancing_volume_l(draw, supply * factor) <= balancing_volume_l(draw, supply) + 1e-6


def test_a_start_that_does_not_fit_is_refused() -> None:
    with pytest.raises(ValueError, match="does not fit"):
        run_tank([1.0], [1.0], 10.0, 11.0)
    with pytest.raises(ValueError, match="same number of steps"):
        run_tank([1.0], [1.0, 2.0], 10.0)
