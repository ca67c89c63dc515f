"""Remedies by works: a tank, a pump, wider pipe, another source, water brought in."""

from __future__ import annotations

import numpy as np
import pandas as pd

from dewpond.base.filling import tank_level_m
from dewpond.base.friction import DarcyWeisbach
from dewpond.base.sources import filling_hours, pump_place
from dewpond.base.units import MINUTES_PER_HOUR, m3_s_from_l_min
from dewpond.base.words import words
from dewpond.steps.supply.case import Case
from dewpond.steps.supply.machinery import labour_figures, pump_power_w, suction_limit_m
from dewpond.steps.supply.need import FLOW_MARGIN_L_MIN, HEAD_MARGIN_M
from dewpond.steps.supply.remedies.offer import Offer, hours_in_words, offer
from dewpond.steps.supply.rules import BOOSTER_CONSENT_L_MIN, consent_sentence
from dewpond.steps.supply.tank import size_tank, trips_a_day

# Outside diameters of ISO 4427-2 / EN 12201-2 in the sizes of the trade [mm].
_SERIES_MM = (20.0, 25.0, 32.0, 40.0, 50.0, 63.0, 75.0, 90.0, 110.0)
_STAND_LIMIT_M = 4.0  # a tank is not raised higher on a stand: common practice, no source


def booster(case: Case, failing: frozenset[str]) -> Offer | None:
    """Return the duty of a pump that makes up the head, or of the stronger one it takes."""
    if "head" not in failing or not np.isfinite(case.need.level_m):
        return None
    flow, lack = case.need.flow_l_min, _up(case.lack_m)
    if case.most_flow_l_min < flow - FLOW_MARGIN_L_MIN:
        text = words(
            "remedies.works.booster_would_not_do",
            name=case.source.name,
            most_flow_l_min=case.most_flow_l_min,
            flow=flow,
        )
        return offer(text, (), case.most_flow_l_min, "L/min")
    pumped = pump_place(case.source) == "direct"
    head = _up(case.intake.pump_head_m + case.lack_m) if pumped else lack
    power = pump_power_w(flow, head, case.supply.pump_efficiency)
    kind = "A pump" if pumped else "A booster pump"
    text = words("remedies.works.booster", kind=kind, flow=flow, head=head, power=power)
    if np.isnan(case.most_flow_l_min):
        text = words("remedies.works.measure_flow_first", text=text)
        return offer(text, {"head"}, power, "W")
    if case.mains is not None and flow > BOOSTER_CONSENT_L_MIN and case.fill is None:
        text += f" {consent_sentence()}"
    return offer(text, {"head"}, power, "W")


def raised_tank(case: Case, failing: frozenset[str]) -> Offer | None:
    """Return by how much the tank that is there would have to be raised."""
    if "head" not in failing or case.fill is None or case.lack_m > _STAND_LIMIT_M:
        return None
    if pump_place(case.source) == "direct":
        return None
    raise_m = np.ceil(case.lack_m * 10.0) / 10.0
    text = words("remedies.works.raise_tank", raise_m=raise_m)
    return offer(text, {"head"}, float(raise_m), "m")


def tank_at_source(case: Case, failing: frozenset[str]) -> Offer | None:
    """Return the tank at a source whose flow is too low for the rush but not for the day."""
    if "flow" not in failing or case.fill is not None or np.isnan(case.most_flow_l_min):
        return None
    if case.source.settings.kind == "mains" or pump_place(case.source) == "direct":
        return None
    hours = filling_hours(case.source, case.supply)
    had = case.most_flow_l_min * hours * MINUTES_PER_HOUR
    tank = size_tank(case.need.daily_l, case.most_flow_l_min, hours, case.supply)
    mends = (
        {"flow", "volume"}
        if min(had, case.intake.daily_volume_l) >= case.need.daily_l
        else {"flow"}
    )
    text = words(
        "remedies.works.buffer_tank",
        volume_l=_round_up(tank.volume_l),
        name=case.source.name,
        most_flow_l_min=case.most_flow_l_min,
        hours=hours,
    )
    if "volume" not in mends:
        text += words("remedies.works.day_gain_short", had=had, daily_l=case.need.daily_l)
        mends = set()
    return offer(text, mends, tank.volume_l, "L")


def bigger_tank(case: Case, failing: frozenset[str]) -> Offer | None:
    """Return the tank that evens out the day and holds the reserve."""
    tank = case.tank
    if "tank" not in failing or tank is None:
        return None
    volume = _round_up(tank.volume_l)
    text = words(
        "remedies.works.larger_tank",
        volume=volume,
        balance_l=tank.balance_l,
        reserve_l=tank.reserve_l,
    )
    return offer(text, {"tank"}, volume, "L")


def filling_pump(case: Case, failing: frozenset[str]) -> Offer | None:
    """Return the duty of a pump that fills the tank from the source below it."""
    fill = case.fill
    if "volume" not in failing or fill is None or fill.fed_by == case.source.name:
        return None
    flow = case.fill_flow_l_min
    if np.isnan(fill.curve.most_flow_l_min):
        return None
    lift = fill.lift_m(min(flow, fill.curve.most_flow_l_min))
    if lift <= 0.0:
        return None
    power = pump_power_w(flow, _up(lift), case.supply.pump_efficiency)
    text = words(
        "remedies.works.filling_pump",
        fed_by=fill.fed_by,
        name=case.source.name,
        flow=flow,
        up=_up(lift),
        power=power,
        hours_in_words=hours_in_words(fill.hours),
    )
    enough = flow <= fill.curve.most_flow_l_min + FLOW_MARGIN_L_MIN
    enough &= fill.curve.daily_volume_l >= case.need.daily_l or np.isnan(fill.curve.daily_volume_l)
    if not enough:
        text += words(
            "remedies.works.filler_flow_short",
            fed_by=fill.fed_by,
            most_flow_l_min=fill.curve.most_flow_l_min,
        )
    return offer(text, {"volume"} if enough else (), power, "W")


def longer_filling(case: Case, failing: frozenset[str]) -> Offer | None:
    """Return what filling day and night would do for a tank that fills in set hours."""
    fill = case.fill
    if "volume" not in failing or fill is None or case.by_sun or fill.hours >= 24.0:
        return None
    if not np.isfinite(fill.flow_l_min) or fill.flow_l_min <= 0.0:
        return None
    daily = min(fill.flow_l_min * 24.0 * MINUTES_PER_HOUR, fill.curve.daily_volume_l)
    text = words("remedies.works.fill_day_and_night", hours=fill.hours, daily=daily)
    return offer(text, {"volume"} if daily >= case.need.daily_l else (), daily, "L")


def wider_pipe(case: Case, failing: frozenset[str]) -> Offer | None:
    """Return what the next size does for the pipe that loses most on the worst way."""
    pipes = case.sizes.pipes
    if "head" not in failing or pipes.empty or pipes["outside_diameter_mm"].isna().any():
        return None
    way = _way_back(case, case.need.where)
    way = [name for name in way if _next_size(pipes.loc[name]) is not None]
    if not way:
        return None
    gains = {name: _gain_m(case, pipes.loc[name], name) for name in way}
    worst = max(way, key=lambda name: gains[name])
    size, total = _next_size(pipes.loc[worst]), float(sum(gains.values()))
    if gains[worst] >= case.lack_m:
        text = words(
            "remedies.works.larger_pipe",
            worst=worst,
            size=size,
            at=pipes.at[worst, "outside_diameter_mm"],
            gains=gains[worst],
        )
        return offer(text, {"head"}, gains[worst], "m")
    enough = total >= case.lack_m
    text = words(
        "remedies.works.next_size_all_the_way",
        where=case.need.where,
        total=total,
        lack_m=case.lack_m,
    )
    return offer(text, {"head"} if enough else (), total, "m")


def hauled_rest(case: Case, failing: frozenset[str]) -> Offer | None:
    """Return the loads that make up a day's water."""
    daily = case.intake.daily_volume_l
    if "volume" not in failing or case.source.settings.kind == "bowser" or daily <= 0.0:
        return None
    missing = case.need.daily_l - daily
    trips = trips_a_day(missing, case.supply.bowser_l)
    hours = trips * case.supply.bowser_trip_h
    loads = "1 load" if trips == 1 else f"{trips} loads"
    text = words(
        "remedies.works.haul_missing_water",
        missing=missing,
        loads=loads,
        bowser_l=case.supply.bowser_l,
        hours=hours,
    )
    possible = case.fill is not None and hours <= case.supply.hauling_hours_limit
    return offer(text, {"volume"} if possible else (), missing, "L")


def bigger_bowser(case: Case, failing: frozenset[str]) -> Offer | None:
    """Return the bowser with which the hauling fits its hours."""
    if "hauling" not in failing or not labour_figures(case):
        return None
    trips = int(np.floor(case.supply.hauling_hours_limit / case.supply.bowser_trip_h + 1e-9))
    if trips < 1:
        text = words("remedies.works.trip_too_long")
        return offer(text, (), case.supply.bowser_trip_h, "h")
    load = _round_up(case.need.daily_l / trips)
    text = words(
        "remedies.works.larger_bowser",
        load=load,
        trips=trips,
        which="" if trips == 1 else "s",
    )
    return offer(text, {"hauling"}, load, "L")


def lower_pump(case: Case, failing: frozenset[str]) -> Offer | None:
    """Return how low a pump must stand to draw its water."""
    if "suction" not in failing:
        return None
    limit = suction_limit_m(case)
    text = words("remedies.works.lower_pump", most=max(limit, 0.0))
    return offer(text, {"suction"}, limit, "m")


def over_the_rim(case: Case, failing: frozenset[str], gap_mm: float) -> Offer | None:
    """Return the inlet that keeps trough water out of a main."""
    if "air gap" not in failing:
        return None
    text = words("remedies.works.inlet_over_rim", gap_mm=gap_mm)
    return offer(text, {"air gap"}, gap_mm, "mm")


def air_gapped_tank(case: Case, failing: frozenset[str]) -> Offer | None:
    """Return the tank at a main that parts it from submerged inlets, and whether it will do."""
    if "air gap" not in failing or not np.isfinite(case.need.level_m):
        return None
    lack = case.need.level_m - tank_level_m(case.holding, case.source)
    hours = filling_hours(case.source, case.supply)
    most = case.curve.most_flow_l_min
    tank = size_tank(case.need.daily_l, most, hours, case.supply)
    volume = _round_up(tank.volume_l)
    text = words("remedies.works.tank_with_air_gap", volume=volume, name=case.source.name)
    had = 0.0 if np.isnan(most) else most * hours * MINUTES_PER_HOUR
    mends = {"air gap", "flow"} | ({"volume"} if had >= case.need.daily_l else set())
    if lack <= HEAD_MARGIN_M:
        text = words("remedies.works.own_level_enough", text=text)
        return offer(text, mends | {"head"}, volume, "L")
    power = pump_power_w(case.need.flow_l_min, _up(lack), case.supply.pump_efficiency)
    text += words(
        "remedies.works.pump_after_tank",
        flow_l_min=case.need.flow_l_min,
        up=_up(lack),
        power=power,
    )
    return offer(text, mends | {"head"}, volume, "L")


def _way_back(case: Case, node: str) -> list[str]:
    """Return the pipes from the source to a place, named by node or by pipe."""
    pipes = case.network.pipes
    found: list[str] = []
    by_end = {str(pipe["to_node"]): str(name) for name, pipe in pipes.iterrows()}
    name = node.split(",")[0] if node.split(",")[0] in pipes.index else by_end.get(node)
    while name is not None:
        found.append(name)
        name = by_end.get(str(pipes.at[name, "from_node"]))
    return found


def _next_size(pipe: pd.Series) -> float | None:
    wider = [size for size in _SERIES_MM if size > float(pipe["outside_diameter_mm"]) + 0.5]
    return wider[0] if wider else None


def _gain_m(case: Case, pipe: pd.Series, name: str) -> float:
    """Return the friction saved by the next size of the same SDR [m], 10 °C, by Colebrook."""
    size = _next_size(pipe)
    if size is None:
        return 0.0
    bore = float(pipe["inside_diameter_mm"]) / 1000.0
    bores = np.array([bore, bore * size / float(pipe["outside_diameter_mm"])])
    flow = float(m3_s_from_l_min(pipe["design_flow_l_min"]))
    loss, _slope = DarcyWeisbach().loss_and_slope_per_metre(flow, bores)
    length = float(case.network.pipes.at[name, "length_m"])
    return float((loss[0] - loss[1]) * length)


def _up(head_m: float) -> float:
    """Return a head rounded up to whole metres, as a pump is asked for."""
    return float(np.ceil(head_m - 1e-6))


def _round_up(volume_l: float) -> float:
    """Return a volume rounded up to the next 100 L."""
    return float(np.ceil(volume_l / 100.0 - 1e-6) * 100.0)
