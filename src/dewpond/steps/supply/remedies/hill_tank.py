"""The remedy that most often works: a header tank on high ground, filled slowly from below."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dewpond.base.sources import allowed_friction_m, filling_hours, source_named
from dewpond.base.units import MINUTES_PER_HOUR
from dewpond.base.words import words
from dewpond.steps.supply.case import Case
from dewpond.steps.supply.machinery import pump_power_w
from dewpond.steps.supply.need import FLOW_MARGIN_L_MIN
from dewpond.steps.supply.remedies.offer import Offer, hours_in_words, offer
from dewpond.steps.supply.rules import BOOSTER_CONSENT_L_MIN, consent_sentence
from dewpond.steps.supply.tank import size_tank
from dewpond.steps.supply.tank_site import TankSite, find_tank_site

_NIGHT = (22.0, 6.0)  # common practice, no source: mains pressure is best and power cheapest
_VOLUME_STEP_L = 100.0


@dataclass(frozen=True)
class _Filling:
    """How a tank on a site would be filled in so many hours a day."""

    feeder: str
    needed_l_min: float
    had_l_min: float
    lift_m: float
    hours: float
    enough: bool

    @property
    def by_pressure(self) -> bool:
        return self.had_l_min >= self.needed_l_min - FLOW_MARGIN_L_MIN


def hill_tank(case: Case, failing: frozenset[str]) -> list[Offer]:
    """Return a header tank on the ground, and the same filled by night only."""
    if not failing & {"flow", "head", "air gap"} or not np.isfinite(case.need.level_m):
        return []
    site, lacking_m = find_tank_site(case.holding, case.network, case.need.level_m, case.supply)
    if site is None:
        return [_no_site(case, lacking_m), *_with_fixed_troughs(case)]
    if case.fill is not None and case.fill.fed_by == case.source.name and _stands_alone(case):
        return [_moved(case, site)]
    hours = filling_hours(case.source, case.supply)
    day = _filling(case, site, hours)
    found = [_by_day(case, site, day)]
    night_hours = (_NIGHT[1] - _NIGHT[0]) % 24.0
    night = _filling(case, site, night_hours)
    if day.enough and night.enough and hours > night_hours:
        found.append(_by_night(case, night))
    return found


def _no_site(case: Case, lacking_m: float) -> Offer:
    within = words("remedies.hill_tank.within_search", tank_search_m=case.supply.tank_search_m)
    if not np.isfinite(lacking_m):
        text = words("remedies.hill_tank.no_ground_known", within=within)
        return offer(text, (), float("nan"), "m")
    text = words(
        "remedies.hill_tank.ground_too_low",
        within=within,
        lacking_m=lacking_m,
        tank_margin_m=case.supply.tank_margin_m,
    )
    return offer(text, (), lacking_m, "m")


def _with_fixed_troughs(case: Case) -> list[Offer]:
    """Return a tank that is high enough for the lower flow of fixed troughs."""
    flow = case.need.fixed_flow_l_min
    if flow >= case.need.flow_l_min or (case.fill is not None and _stands_alone(case)):
        return []
    level_m = float(case.need.level_at_share_m(flow / case.need.flow_l_min))
    site, _lacking = find_tank_site(case.holding, case.network, level_m, case.supply)
    if site is None:
        return []
    by_day = _by_day(case, site, _filling(case, site, filling_hours(case.source, case.supply)))
    text = words(
        "remedies.hill_tank.troughs_and_tank",
        flow=flow,
        flow_l_min=case.need.flow_l_min,
    )
    return [
        offer(text + by_day.action.removeprefix("A"), by_day.mends, by_day.figure, by_day.unit)
    ]


def _stands_alone(case: Case) -> bool:
    """Return whether the tank is filled by what the plan does not know, or by a bowser."""
    return case.source.settings.kind in ("header_tank", "bowser")


def _moved(case: Case, site: TankSite) -> Offer:
    bowser = case.source.settings.kind == "bowser"
    filled = (
        words("remedies.hill_tank.bowser_must_get_there")
        if bowser
        else words("remedies.hill_tank.filler_must_reach")
    )
    text = words(
        "remedies.hill_tank.move_tank",
        place=_place(site),
        filled=filled,
        daily_l=case.need.daily_l,
    )
    return offer(text, {"head"}, site.water_level_m, "m")


def _place(site: TankSite) -> str:
    where = f"in {site.paddock}" if site.paddock else "outside the paddocks"
    return words(
        "remedies.hill_tank.place",
        easting_m=site.easting_m,
        northing_m=site.northing_m,
        where=where,
        ground_level_m=site.ground_level_m,
        distance_m=site.distance_m,
    )


def _filling(case: Case, site: TankSite, hours: float) -> _Filling:
    """Return how a tank would fill from the source, the pipe to it allowed for by distance."""
    needed = case.need.daily_l / (hours * MINUTES_PER_HOUR)
    feeder = case.source if case.fill is None else source_named(case.holding, case.fill.fed_by)
    distance = float(
        np.hypot(site.easting_m - feeder.easting_m, site.northing_m - feeder.northing_m)
    )
    allowance = float(allowed_friction_m(case.supply, distance))
    target = site.water_level_m + allowance
    most, daily = case.curve.most_flow_l_min, case.curve.daily_volume_l
    had = case.curve.flow_at_l_min(target)
    lift = target - float(case.curve.level_at_m(min(needed, most)))
    measured = not (np.isnan(most) and np.isnan(daily))
    enough = needed <= most + FLOW_MARGIN_L_MIN and not case.need.daily_l > daily
    return _Filling(feeder.name, needed, had, lift, hours, bool(enough and measured))


def _by_day(case: Case, site: TankSite, filling: _Filling) -> Offer:
    gap = "" if case.mains is None else words("remedies.hill_tank.through_air_gap")
    text = words(
        "remedies.hill_tank.header_tank",
        volume=_volume(case, filling),
        place=_place(site),
        feeder=filling.feeder,
        gap=gap,
        needed_l_min=filling.needed_l_min,
        hours_in_words=hours_in_words(filling.hours),
        how=_how(case, filling),
    )
    mends = {"flow", "head", "air gap"}
    if filling.enough:
        mends.add("volume")
    else:
        text += f" {_too_little(case, filling)}"
        mends = set()
    return offer(text, mends, site.water_level_m, "m")


def _by_night(case: Case, filling: _Filling) -> Offer:
    volume = _volume(case, filling)
    text = words(
        "remedies.hill_tank.tank_filled_by_night",
        from_h=_NIGHT[0],
        until_h=_NIGHT[1],
        volume=volume,
        needed_l_min=filling.needed_l_min,
        how=_how(case, filling),
    )
    return offer(text, {"flow", "head", "air gap", "volume"}, volume, "L")


def _how(case: Case, filling: _Filling) -> str:
    if filling.by_pressure:
        return words("remedies.hill_tank.by_own_pressure")
    if filling.lift_m <= 0.0:
        return words("remedies.hill_tank.by_own_pressure_perhaps")
    lift = float(np.ceil(max(filling.lift_m, 0.0)))
    power = pump_power_w(filling.needed_l_min, lift, case.supply.pump_efficiency)
    text = words("remedies.hill_tank.filled_by_pump", lift=lift, power=power)
    if case.mains is not None and filling.needed_l_min > BOOSTER_CONSENT_L_MIN:
        text += f" {consent_sentence()}"
    return text


def _too_little(case: Case, filling: _Filling) -> str:
    most, daily = case.curve.most_flow_l_min, case.curve.daily_volume_l
    if np.isnan(most):
        return words("remedies.hill_tank.feeder_unmeasured", feeder=filling.feeder)
    if case.need.daily_l > daily:
        return words("remedies.hill_tank.feeder_day_short", daily=daily, daily_l=case.need.daily_l)
    return words("remedies.hill_tank.feeder_flow_short", most=most)


def _volume(case: Case, filling: _Filling) -> float:
    flow = filling.needed_l_min
    if filling.hours < 24.0 and filling.hours != filling_hours(case.source, case.supply):
        supply = case.supply.model_copy(
            update={"fill_from_hour": _NIGHT[0], "fill_to_hour": _NIGHT[1]}
        )
    else:
        supply = case.supply
    tank = size_tank(case.need.daily_l, flow, filling.hours, supply)
    return float(np.ceil(tank.volume_l / _VOLUME_STEP_L - 1e-6) * _VOLUME_STEP_L)
