"""Break tanks and reducing valves where static head outgrows the strongest pipe."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from dewpond.base.pipesizing import find_pressure_breaks


def test_nothing_is_broken_where_the_class_holds() -> None:
    ground = np.array([90.0, 60.0, 20.0])
    breaks, levels = find_pressure_breaks([-1], [ground], [ground], 100.0, 100.0)
    assert breaks == ()
    np.testing.assert_array_equal(levels[0], 100.0)


def test_a_long_fall_gets_tanks_as_low_as_they_can_stand() -> None:
    """From 400 m down to 0 in steps of 10 m with 150 m allowed: tanks at 250 and 100 m."""
    ground = np.arange(400.0, -1.0, -10.0)
    breaks, levels = find_pressure_breaks([-1], [ground], [ground], 400.0, 150.0, 0.0)
    assert [(b.kind, b.level_m) for b in breaks] == [("break tank", 250.0), ("break tank", 100.0)]
    assert [b.level_before_m for b in breaks] == [400.0, 250.0]
    assert (levels[0] - ground <= 150.0).all()


def test_a_hill_beyond_the_hollow_takes_a_reducing_valve_or_a_higher_tank() -> None:
    ground = np.array([200.0, 120.0, 40.0, 20.0, 110.0])
    need = ground + 2.0
    (higher,), _ = find_pressure_breaks([-1], [ground], [need], 200.0, 150.0, 1.0)
    assert (higher.kind, higher.position, higher.level_m) == ("break tank", 1, 121.0)
    steep = np.array([200.0, 40.0, 20.0, 110.0])
    (valve,), levels = find_pressure_breaks([-1], [steep], [steep + 2.0], 200.0, 165.0, 1.0)
    assert valve.kind == "reducing valve"
    assert 112.0 <= valve.level_m <= 185.0
    assert valve.excess_m == pytest.approx(15.0)
    assert (levels[0][2:] - steep[2:] <= 165.0).all()


def test_a_hollow_below_a_hill_too_high_is_said_to_be_hopeless() -> None:
    ground = np.array([200.0, 0.0, 190.0])
    (hopeless,), _ = find_pressure_breaks([-1], [ground], [ground], 200.0, 150.0)
    assert (hopeless.kind, hopeless.excess_m) == ("none", 50.0)


def test_a_break_serves_everything_that_hangs_on_its_pipe() -> None:
    trunk = np.array([300.0, 200.0, 100.0])
    left, right = np.array([100.0, 20.0]), np.array([100.0, 60.0])
    grounds = [trunk, left, right]
    breaks, levels = find_pressure_breaks([-1, 0, 0], grounds, grounds, 300.0, 190.0, 0.0)
    assert [(b.pipe, b.level_m) for b in breaks] == [(0, 200.0)]
    assert levels[1][0] == levels[2][0] == 200.0


def test_a_main_stronger_than_any_pipe_is_let_down_at_the_source() -> None:
    ground = np.array([0.0, 10.0, 30.0])
    (valve,), levels = find_pressure_breaks([-1], [ground], [ground + 5.0], 120.0, 100.0)
    assert (valve.kind, valve.position, valve.level_m) == ("reducing valve", 0, 100.0)
    assert levels[0][1:].tolist() == [100.0, 100.0]


def test_a_cliff_deeper_than_the_limit_is_hopeless_too() -> None:
    ground = np.array([300.0, 290.0, 10.0])
    breaks, _ = find_pressure_breaks([-1], [ground], [ground], 300.0, 100.0)
    assert breaks[-1].kind == "none"


@settings(deadline=None, derandomize=True, max_examples=60)
@given(st.integers(0, 10_000), st.floats(90.0, 180.0))
def test_every_branch_of_a_tree_keeps_to_the_limit(random_state: int, limit: float) -> None:
    random = np.random.default_rng(random_state)
    parent = [-1, *(int(random.integers(0, i)) for i in range(1, 8))]
    grounds: list[np.ndarray] = []
    for above in parent:
        first = 600.0 if above < 0 else grounds[above][-1]
        grounds.append(first + np.append(0.0, np.cumsum(random.uniform(-40.0, 4.0, 6))))
    needs = [ground + 0.1 for ground in grounds]
    # Ground that still water does not reach without any break is no affair of breaks.
    assume(max(need.max() for need in needs) <= 603.0)
    breaks, levels = find_pressure_breaks(parent, grounds, needs, 603.0, limit)
    if any(b.kind == "none" for b in breaks):
        return
    for ground, need, level in zip(grounds, needs, levels, strict=True):
        assert (level - ground <= limit + 1e-6).all()
        assert (level >= need - 1e-6).all()
    for pipe, above in enumerate(parent):
        if above >= 0 and not any(b.pipe == pipe and b.position == 0 for b in breaks):
            last = [b for b in breaks if b.pipe == above and b.position == len(levels[above]) - 1]
            assert levels[pipe][0] == (last[-1].level_m if last else levels[above][-1])


@settings(deadline=None, derandomize=True, max_examples=100)
@given(
    st.lists(st.floats(-60.0, 20.0), min_size=3, max_size=30),
    st.floats(80.0, 200.0),
    st.floats(0.5, 2.0),
)
def test_no_point_is_over_the_limit_or_short_of_water_unless_it_is_said(
    steps: list[float], limit: float, tank: float
) -> None:
    ground = 500.0 + np.cumsum(np.minimum(steps, 0.0) + np.maximum(steps, 0.0) * 0.3)
    need = ground + 0.1
    breaks, levels = find_pressure_breaks([-1], [ground], [need], ground.max() + 3.0, limit, tank)
    if any(b.kind == "none" for b in breaks):
        return
    assert (levels[0] - ground <= limit + 1e-6).all()
    assert (levels[0] >= need - 1e-6).all()
    assert all(b.level_m <= b.level_before_m for b in breaks)


def test_the_excess_is_that_of_the_lowest_ground_beyond() -> None:
    """From 300 m into a valley at 100 m, also by another pipe: 200 m of head, 50 m too much."""
    trunk, beyond = np.array([300.0, 200.0, 140.0]), np.array([140.0, 100.0])
    found, _ = find_pressure_breaks([-1, 0], [trunk, beyond], [trunk, beyond], 300.0, 150.0, 0.0)
    assert found[0].excess_m == pytest.approx(50.0)
