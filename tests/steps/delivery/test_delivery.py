"""Delivered flow: by hand for one outlet, round a ring, through breaks, and the laws it keeps."""

from __future__ import annotations

from dataclasses import replace

import fluids
import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from dewpond.base.model import Flows, Intake, Proof, Sizes
from dewpond.base.settings import PipeSettings
from dewpond.steps.delivery import deliver
from steps.schemes import flat_curve, make_scheme, one_pipe

K = 3.0
VISCOSITY_M2_S = 1.3063e-6  # of water at 10 °C, IAPWS
G = 9.80665
FALLING = Intake(np.array([0.0, 10.0, 30.0]), np.array([30.0, 28.0, 5.0]), np.inf, False, np.nan,
                 "by hand")  # fmt: skip


def laid(scheme, bore_mm):
    """Return sizes with bores set by hand and no breaks."""
    names = scheme.network.pipes.index
    pipes = pd.DataFrame({"inside_diameter_mm": np.broadcast_to(float(bore_mm), len(names))
                          if np.isscalar(bore_mm) else list(bore_mm)}, index=names)  # fmt: skip
    breaks = pd.DataFrame(columns=["pipe", "kind", "distance_m", "level_m"])
    return Sizes(pipes, pd.DataFrame(), breaks, (), Proof(0, 0, 0, "by hand"))


def delivered(scheme, sizes, **pipe):
    return deliver(
        scheme.network, scheme.heads, scheme.watering, scheme.flows, scheme.intake, sizes,
        PipeSettings(**pipe),
    )  # fmt: skip


def pipe_loss_m(flow_m3_s, bore_m, length_m, fittings=K):
    """Head lost by Darcy-Weisbach, with the friction factor of the library fluids."""
    speed = flow_m3_s / (np.pi / 4 * bore_m**2)
    factor = fluids.friction_factor(speed * bore_m / VISCOSITY_M2_S, 1e-5 / bore_m)
    return (factor * length_m / bore_m + fittings) * speed**2 / (2 * G)


def valve_loss_m(flow_m3_s, seat_m=0.012):
    return (flow_m3_s / (0.6 * np.pi / 4 * seat_m**2)) ** 2 / (2 * G)


def by_hand_l_min(level_m, bore_m=0.0204, length_m=500.0):
    def miss(flow_l_min):
        flow = flow_l_min / 60_000
        level = level_m(flow_l_min) if callable(level_m) else level_m
        return level - pipe_loss_m(flow, bore_m, length_m) - valve_loss_m(flow)

    return brentq(miss, 5.5, 60.0)  # turbulent throughout


def test_one_outlet_gets_what_pipe_and_valve_let_through():
    scheme = one_pipe()
    outlets = delivered(scheme, laid(scheme, 20.4)).outlets
    expected = by_hand_l_min(30.0)
    assert outlets.at["outlet 1", "alone_l_min"] == pytest.approx(expected, rel=2e-4)
    assert outlets.at["outlet 1", "available_flow_l_min"] == pytest.approx(expected, rel=2e-4)
    assert outlets.at["outlet 1", "worst_with"] == ()


def test_a_source_that_falls_with_flow_meets_its_curve():
    scheme = one_pipe(intake=FALLING)
    expected = by_hand_l_min(lambda flow: np.interp(flow, FALLING.flow_l_min, FALLING.level_m))
    assert 10 < expected < by_hand_l_min(30.0) - 1
    outlets = delivered(scheme, laid(scheme, 20.4)).outlets
    assert outlets.at["outlet 1", "alone_l_min"] == pytest.approx(expected, rel=2e-4)


FORK = [
    ("tank", "junction 1", [(0, 0), (300, 0)]),
    ("junction 1", "outlet 1", [(300, 0), (300, 200)]),
    ("junction 1", "outlet 2", [(300, 0), (600, 0)]),
]
TWO_MOBS = [("a", "outlet 1", 0, 8.0), ("a", "outlet 2", 1, 8.0), ("b", "outlet 2", 2, 8.0)]


def test_the_worst_combination_is_that_of_the_mobs():
    scheme = make_scheme(FORK, TWO_MOBS)
    outlets = delivered(scheme, laid(scheme, 20.4)).outlets
    assert outlets.at["outlet 1", "worst_with"] == ("outlet 2",)
    assert outlets.at["outlet 2", "worst_with"] == ()  # both mobs there, through two valves
    assert (outlets["available_flow_l_min"] < outlets["alone_l_min"]).all()

    def heads(flows):
        one, two = np.array(flows) / 60_000
        at_fork = 30 - pipe_loss_m(one + two, 0.0204, 300)
        return (
            at_fork - pipe_loss_m(one, 0.0204, 200) - valve_loss_m(one),
            at_fork - pipe_loss_m(two, 0.0204, 300) - valve_loss_m(two),
        )

    one = outlets.at["outlet 1", "available_flow_l_min"]
    two = brentq(lambda flow: heads([one, flow])[1], 5.0, 40.0)
    assert heads([one, two])[0] == pytest.approx(0.0, abs=0.02)

    def both_at_two(flow_l_min):
        each = flow_l_min / 60_000
        return 30 - pipe_loss_m(2 * each, 0.0204, 300) * 2 - valve_loss_m(each)

    expected = brentq(both_at_two, 3.0, 40.0)
    assert outlets.at["outlet 2", "available_flow_l_min"] == pytest.approx(expected, rel=3e-4)


def test_a_ring_main_feeds_an_outlet_from_both_sides():
    # Two equal ways to one outlet: each carries half.
    ways = [
        ("tank", "junction 1", [(0, 0), (10, 0)]),
        ("junction 1", "junction 2", [(10, 0), (10, 300), (300, 300)]),
        ("junction 1", "outlet 1", [(10, 0), (300, 0), (300, 10)]),
        ("junction 2", "outlet 1", [(300, 300), (300, 10)]),
    ]
    scheme = make_scheme(ways[:3], [("a", "outlet 1", 0, 10.0)])
    ring = make_scheme(ways, [("a", "outlet 1", 0, 10.0)])
    cases = pd.DataFrame([["a", "outlet 1", 10.0, 5.0, 5.0, 5.0]],
                         columns=["mob", "outlet", *ring.network.pipes.index])  # fmt: skip
    ring = replace(ring, flows=Flows(pd.DataFrame(), cases, 10.0))
    alone = delivered(scheme, laid(scheme, 20.4)).outlets.at["outlet 1", "alone_l_min"]
    both = delivered(ring, laid(ring, 20.4)).outlets.at["outlet 1", "alone_l_min"]
    assert both > 1.1 * alone

    def miss(share):
        one, two = both * share / 60_000, both * (1 - share) / 60_000
        short = pipe_loss_m(one, 0.0204, 300)
        long = pipe_loss_m(two, 0.0204, 590) + pipe_loss_m(two, 0.0204, 290)
        return short - long

    share = brentq(miss, 0.5, 0.9)
    whole = both / 60_000
    lost = (
        pipe_loss_m(whole, 0.0204, 10)
        + pipe_loss_m(whole * share, 0.0204, 300)
        + valve_loss_m(whole)
    )
    assert lost == pytest.approx(30.0, rel=1e-3)
    assert delivered(ring, laid(ring, 20.4)).outlets.at[
        "outlet 1", "available_flow_l_min"
    ] == pytest.approx(both)


def test_a_break_tank_parts_the_network():
    # Below the tank the outlet has the tank's level, whatever stands before it.
    scheme = one_pipe(lambda x, y: 300 - 0.2 * x, 1500)
    sizes = scheme.size()
    last = sizes.breaks.iloc[-1]
    length = scheme.network.pipes.at["pipe 1", "length_m"] - last["distance_m"]
    bore = sizes.pipes.at["pipe 1", "inside_diameter_mm"] / 1000
    share = length / scheme.network.pipes.at["pipe 1", "length_m"]

    def miss(flow_l_min):
        flow = flow_l_min / 60_000
        return last["level_m"] - pipe_loss_m(flow, bore, length, K * share) - valve_loss_m(flow)

    result = delivered(scheme, sizes)
    assert result.outlets.at["outlet 1", "alone_l_min"] == pytest.approx(
        brentq(miss, 10, 200), rel=3e-4
    )
    higher = replace(scheme, intake=flat_curve(340.0))
    assert delivered(higher, sizes).outlets.at["outlet 1", "alone_l_min"] == pytest.approx(
        result.outlets.at["outlet 1", "alone_l_min"]
    )


def test_a_break_tank_that_runs_down_is_named():
    scheme = one_pipe(lambda x, y: 300 - 0.2 * x, 1500, head_m=5.0)
    sizes = scheme.size()
    # A stretch of level ground before the tank would do it; a lower source does the same.
    low = replace(scheme, intake=flat_curve(float(sizes.breaks["level_m"].iloc[0]) + 2.0))
    (text,) = delivered(low, sizes).warnings
    assert text.startswith("break tank 1: with outlets wide open")


def test_a_reducing_valve_cannot_add_head():
    scheme = one_pipe(lambda x, y: 100 - 0.05 * x, 500, head_m=3.0)
    held = replace(laid(scheme, 20.4), breaks=pd.DataFrame({
        "pipe": ["pipe 1"], "kind": ["reducing valve"], "distance_m": [250.0], "level_m": [200.0],
    }, index=["reducing valve 1"]))  # fmt: skip
    with_valve = delivered(scheme, held).outlets.at["outlet 1", "alone_l_min"]
    without = delivered(scheme, laid(scheme, 20.4)).outlets.at["outlet 1", "alone_l_min"]
    assert with_valve == pytest.approx(without, rel=1e-3)


def test_no_pipe_no_flow():
    scheme = one_pipe(head_m=0.0, height=lambda x, _: 100.0 + 0.01 * x)
    sizes = scheme.size()
    assert sizes.shortfalls
    result = delivered(scheme, sizes)
    assert result.outlets["alone_l_min"].isna().all()
    assert result.warnings
    empty = make_scheme([], [])
    assert delivered(empty, empty.size()).outlets.empty


def test_sized_pipe_delivers_its_design_flow_to_a_lone_outlet():
    scheme = make_scheme(FORK, TWO_MOBS)
    outlets = delivered(scheme, scheme.size()).outlets
    assert (outlets["alone_l_min"] >= 8.0).all()


@settings(deadline=None, derandomize=True, max_examples=25)
@given(
    bores=st.lists(st.sampled_from([16.0, 20.4, 26.0, 32.6, 40.8]), min_size=3, max_size=3),
    which=st.integers(0, 2),
    falling=st.booleans(),
)
def test_on_a_tree_with_one_outlet_open_a_bigger_pipe_never_lowers_its_flow(bores, which, falling):
    scheme = make_scheme(FORK, TWO_MOBS, intake=FALLING if falling else None)
    wider = [bore * (1.25 if n == which else 1.0) for n, bore in enumerate(bores)]
    before = delivered(scheme, laid(scheme, bores)).outlets["alone_l_min"]
    after = delivered(scheme, laid(scheme, wider)).outlets["alone_l_min"]
    assert (after >= before - 1e-3).all()


def test_an_outlet_whose_pipe_has_no_size_stays_shut_and_the_others_get_what_they_got():
    way = ("tank", "outlet 1", [(0, 0), (500, 0)])
    uses = [("cows", "outlet 1", 0, 12.0), ("cows", "outlet 2", 1, 12.0)]
    both = make_scheme([way, ("outlet 1", "outlet 2", [(500, 0), (700, 0)])], uses)
    alone = make_scheme([way], uses[:1])
    found = delivered(both, laid(both, [20.4, np.nan])).outlets
    wanted = delivered(alone, laid(alone, 20.4)).outlets
    for column in ("alone_l_min", "available_flow_l_min"):
        assert found.at["outlet 1", column] == pytest.approx(wanted.at["outlet 1", column])
        assert np.isnan(found.at["outlet 2", column])
    assert delivered(both, laid(both, [np.nan, 20.4])).outlets["alone_l_min"].isna().all()
