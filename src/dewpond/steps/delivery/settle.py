"""Levels at source and breaks that agree with the flows they cause."""

from __future__ import annotations

import numpy as np

from dewpond.base.model import Intake
from dewpond.base.pipenetwork import NetworkFlow, solve_network
from dewpond.base.surface import FloatArray
from dewpond.base.units import l_min_from_m3_s
from dewpond.steps.delivery.piping import BoolArray, Piping

_LEVEL_TOLERANCE_M = 1e-5
_MOST_ROUNDS = 60


def settle(piping: Piping, intake: Intake, valve_open: BoolArray) -> NetworkFlow:
    """Return the flow of cases (cases, valves open) with the source on its own curve.

    The more a source gives the lower it stands, and the lower it stands the less flows: the level
    at which both agree is the only root of a falling function, found by false position with
    bisection, all cases at once. What leaves a break is drawn before it; a reducing valve holds
    its level only while the pressure before it is higher.
    """
    cases = len(valve_open)
    still = float(intake.level_at_m(0.0))
    levels = np.tile(np.concatenate([[still], piping.break_level_m]), (cases, 1))
    drawn = np.zeros((cases, piping.network.node_count))
    flow = _at_level(piping, levels, drawn, valve_open)
    if np.ptp(intake.level_m) == 0.0:
        return flow
    low = np.full(cases, _lowest(piping, intake))
    high = np.full(cases, still)
    miss_high = _miss(piping, intake, flow, high)
    levels[:, 0] = low
    miss_low = _miss(piping, intake, _at_level(piping, levels, drawn, valve_open), low)
    for turn in range(_MOST_ROUNDS):
        if turn % 3 == 2:
            guess = 0.5 * (low + high)
        else:
            guess = low + (high - low) * miss_low / np.maximum(miss_low - miss_high, 1e-12)
        levels[:, 0] = np.clip(guess, low, high)
        flow = _at_level(piping, levels, drawn, valve_open)
        miss = _miss(piping, intake, flow, levels[:, 0])
        if (np.abs(miss) <= _LEVEL_TOLERANCE_M).all():
            break
        above = miss < 0.0
        high, miss_high = np.where(above, levels[:, 0], high), np.where(above, miss, miss_high)
        low, miss_low = np.where(above, low, levels[:, 0]), np.where(above, miss_low, miss)
        if (high - low <= _LEVEL_TOLERANCE_M).all():
            break
    return flow


def _lowest(piping: Piping, intake: Intake) -> float:
    """Return a level at which nothing flows from the source."""
    to_fill = [*piping.network.outlets.level_m, *piping.break_level_m]
    return float(min([intake.level_m.min(), *to_fill])) - 1.0


def _miss(piping: Piping, intake: Intake, flow: NetworkFlow, level: FloatArray) -> FloatArray:
    """Return how far the curve stands over the level assumed [m], falling as that rises."""
    leaving = flow.flow_m3_s[:, piping.leaves_source].sum(axis=1)
    return np.asarray(intake.level_at_m(np.maximum(l_min_from_m3_s(leaving), 0.0)) - level)


def _at_level(
    piping: Piping, levels: FloatArray, drawn: FloatArray, valve_open: BoolArray
) -> NetworkFlow:
    """Return the flow at a given level of the source.

    A network beyond a tank does not feel the one before it, so that as many passes as there are
    breaks in a row settle what each draws; reducing valves may then be lowered and it begins anew.
    """
    held = levels.copy()
    for _ in range(_MOST_ROUNDS):
        for _ in range(len(piping.before) + 1):
            flow = solve_network(
                piping.network,
                demand_m3_s=drawn,
                outlet_open=valve_open,
                fixed_head_m=held,
            )
            drawn[:, piping.before] = flow.flow_m3_s @ piping.leaves_break.T
        wanted = np.where(
            piping.is_tank,
            piping.break_level_m,
            np.minimum(piping.break_level_m, flow.head_m[:, piping.before]),
        )
        step = wanted - held[:, 1:]
        if (np.abs(step) <= _LEVEL_TOLERANCE_M).all():
            break
        held[:, 1:] += 0.5 * step  # a lower valve draws less, which raises the head before it
    return flow
