"""Every kind of source on a small hill, once where it works and once where it does not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from dewpond.base.model import Judgement, Remedy, Supply
from steps.supply.supply_farm import delivery, farm

MAIN = {
    "name": "main",
    "kind": "mains",
    "static_pressure_bar": 3.0,
    "bucket_l": 12.0,
    "bucket_s": 33.0,
}
DOWN, UP = -0.05, 0.05
"""Outlet 2, 600 m away, lies 30 m below or above the source."""


def verdict(supply: Supply, words: str) -> Judgement:
    return next(item for item in supply.judgements if words in item.requirement)


def remedy(supply: Supply, words: str) -> Remedy:
    found = [item for item in supply.remedies if words in item.action]
    assert found, [item.action for item in supply.remedies]
    return found[0]


def test_a_main_that_serves() -> None:
    supply = farm(MAIN, slope=DOWN).judge()
    assert supply.met
    assert supply.remedies == ()
    flow = verdict(supply, "Flow of the source")
    assert flow.figure == pytest.approx(0.8 * 12.0 / 33.0 * 60.0)  # 21.8 L/min, dry summer
    assert flow.limit == pytest.approx(2400.0 / 420.0)


def test_a_main_too_weak_says_how_many_it_waters() -> None:
    """A bucket in 180 s is 4 L/min, 3.2 in a dry summer, of 5.714: 22 of 40 head (22.4)."""
    supply = farm({**MAIN, "bucket_s": 180.0}, slope=DOWN).judge()
    assert not verdict(supply, "Flow of the source").met
    kept = remedy(supply, "waters 22 of the 40 stores")
    assert kept.works
    assert kept.figure == 22.0


def test_fixed_troughs_help_where_longer_hours_are_enough() -> None:
    """9 h in place of 7: 4.444 L/min in place of 5.714; a visit is 40 x 60 / 3 = 800 L."""
    enough = farm({**MAIN, "bucket_s": 125.0}, slope=DOWN).judge()  # 4.608 in a dry summer
    fixed = remedy(enough, "Fixed troughs")
    assert fixed.works
    assert fixed.figure == pytest.approx(2400.0 / 540.0)
    assert "800 L for the stores" in fixed.action
    weak = farm({**MAIN, "bucket_s": 130.0}, slope=DOWN).judge()  # 4.431
    assert not remedy(weak, "Fixed troughs").works


def test_a_tank_filled_slowly_helps_a_main_with_pressure_to_spare() -> None:
    """2,400 L over 24 h are 1.667 L/min; the main still gives that at the tank's level."""
    supply = farm({**MAIN, "bucket_s": 180.0}, slope=DOWN).judge()
    tank = remedy(supply, "A header tank of")
    assert tank.works
    assert "by its own pressure" in tank.action
    assert "1.7 L/min" in tank.action
    # By night only it would take 2,400 L in 8 h, 5.0 L/min, more than the main has.
    assert not any("by night only" in item.action for item in supply.remedies)


def test_a_main_too_low_wants_a_booster_or_a_tank() -> None:
    """Outlet 2 stands 30 m above a main of 20.4 m head: no pipe and no fewer stock will do."""
    supply = farm({**MAIN, "static_pressure_bar": 2.0}, slope=UP).judge()
    level = verdict(supply, "Level of the water")
    assert not level.met
    assert level.limit == pytest.approx(130.0 + 2.0)
    assert "no pipe can mend" in level.reason
    assert not any("fewer head" in item.action for item in supply.remedies)
    pump = remedy(supply, "booster")
    assert pump.works
    lack = np.ceil(level.limit - level.figure)
    watts = 999.7 * 9.80665 * (2400.0 / 420.0 / 60_000.0) * lack / 0.35
    assert pump.figure == pytest.approx(watts)
    assert remedy(supply, "A header tank of").works


def test_a_booster_makes_no_water() -> None:
    weak = {**MAIN, "static_pressure_bar": 2.0, "bucket_s": 180.0}
    supply = farm(weak, slope=UP).judge()
    assert not remedy(supply, "booster").works
    assert "head, not water" in remedy(supply, "booster").action


def test_past_its_flow_a_main_has_no_pressure_left_not_less() -> None:
    """A rush of 130 L/min from a main of 17.5: its level is that of the tap, not a mile below."""
    supply = farm(MAIN, slope=UP, flow_l_min=130.0).judge(friction_m=20.0)
    level = verdict(supply, "Level of the water")
    assert level.figure == pytest.approx(100.0)
    assert level.limit == pytest.approx(130.0 + 2.0 + 20.0)


def test_fixed_troughs_and_a_tank_together() -> None:
    """With 120 m of friction in the rush no ground is high enough; at 4.4 L/min some is."""
    supply = farm(MAIN, slope=UP, flow_l_min=130.0).judge(friction_m=120.0)
    assert not remedy(supply, "A header tank would not do").works
    both = remedy(supply, "Both together: fixed troughs that draw 4.4 L/min")
    assert both.works
    assert "and a header tank of" in both.action


def test_lower_ground_is_named() -> None:
    supply = farm({**MAIN, "static_pressure_bar": 2.5}, slope=UP).judge()
    low = remedy(supply, "lower ground")
    assert not low.works
    assert "1 of the 2 outlets (outlet 1)" in low.action


def test_an_unmeasured_main_is_not_shown_to_serve() -> None:
    bare = {"name": "main", "kind": "mains", "static_pressure_bar": 3.0}
    supply = farm(bare, slope=DOWN).judge()
    flow = verdict(supply, "Flow of the source")
    assert not flow.met
    assert np.isnan(flow.figure)
    assert "was not measured" in flow.reason
    wanted_s = 10.0 / (flow.limit / 0.8) * 60.0  # 0.8 is left of the bucket in a dry summer
    assert f"10 L from an open pipe in {wanted_s:.0f} s" in flow.reason
    assert not any("adds 0 m" in remedy.action for remedy in supply.remedies)


def test_a_main_never_feeds_a_submerged_inlet() -> None:
    """A tank at the main loses its pressure, but stands 11 m over what outlet 1 needs, 87 m."""
    supply = farm(MAIN, slope=DOWN, trough={"inlet": "submerged"}).judge()
    gap = verdict(supply, "Air gap")
    assert not gap.met
    assert (gap.figure, gap.limit) == (0.0, pytest.approx(40.8))  # twice the bore of 20.4 mm
    assert "must not be fed" in gap.reason
    assert remedy(supply, "over the rim").works
    tank = remedy(supply, "through an air gap")
    assert tank.works
    assert "its own level is enough" in tank.action
    uphill = farm(MAIN, slope=0.03, trough={"inlet": "submerged"}).judge()
    assert "a pump after it of 5.7 L/min at 20 m" in remedy(uphill, "through an air gap").action


def test_over_the_rim_keeps_the_gap() -> None:
    gap = verdict(farm(MAIN, slope=DOWN).judge(), "Air gap")
    assert gap.met
    assert gap.figure == pytest.approx(40.8)


def test_a_tank_at_the_main_is_an_air_gap_but_loses_its_pressure() -> None:
    tank = {**MAIN, "tank_volume_l": 3000.0, "height_above_ground_m": 1.0}
    down = farm(tank, slope=DOWN, trough={"inlet": "submerged"}).judge()
    assert down.met
    up = farm(tank, slope=0.04, trough={"inlet": "submerged"}).judge()
    assert verdict(up, "Level of the water").figure == pytest.approx(101.0)
    assert not up.met


def test_a_header_tank_is_filled_by_a_main_above_it_alone() -> None:
    """The tank 300 m away stands 0 m above the main in one case, 45 m in the other."""
    tank = {"name": "tank", "kind": "header_tank", "fed_by": "main", "height_above_ground_m": 1.0}
    level = farm(tank, {**MAIN, "at": [400_300.0, 480_050.0]}, slope=DOWN).judge()
    assert level.met
    assert level.tank["reserve_l"] == 2400.0
    far = {**MAIN, "at": [400_900.0, 480_050.0], "static_pressure_bar": 2.0}
    high = farm(tank, far, slope=DOWN).judge()
    day = verdict(high, "Water a day")
    assert (day.figure, day.met) == (0.0, False)
    assert "too low to run in" in day.reason
    pump = remedy(high, "A pump at main that fills tank")
    assert pump.works
    # 101 m and 9 m allowed for 900 m of pipe, less 55 + 20.4 m, and the fall at 1.67 L/min.
    fall = 20.4 * (2400.0 / 1440.0 / (0.8 * 12.0 / 33.0 * 60.0)) ** 1.85
    lift = np.ceil(110.0 - 75.4 + fall)
    watts = 999.7 * 9.80665 * (2400.0 / 1440.0 / 60_000.0) * lift / 0.35
    assert pump.figure == pytest.approx(watts, rel=1e-3)


def test_a_header_tank_too_small_or_too_low() -> None:
    tank = {"name": "tank", "kind": "header_tank", "tank_volume_l": 1000.0}
    small = farm(tank, slope=DOWN).judge()
    volume = verdict(small, "Volume of the tank")
    assert not volume.met
    assert volume.limit == pytest.approx(small.tank["balance_l"] + 2400.0)
    assert remedy(small, "to even out the day").works
    low = farm({"name": "tank", "kind": "header_tank"}, slope=0.0).judge(friction_m=1.0)
    stand = remedy(low, "Raise the tank by 3.0 m")  # 1 m of friction and 2 m at the valve
    assert stand.works


def test_a_spring_with_enough_water_a_day_wants_a_tank() -> None:
    """2 L/min are 2,880 L a day; the rush wants 5.7 L/min."""
    spring = {"name": "spring", "kind": "spring", "yield_l_min": 2.0}
    supply = farm(spring, slope=DOWN).judge()
    assert not verdict(supply, "Flow of the source").met
    assert verdict(supply, "Water a day").met
    assert remedy(supply, "at spring takes its 2.0 L/min").works
    assert farm({**spring, "tank_volume_l": 4000.0}, slope=DOWN).judge().met


def test_a_spring_too_weak_for_the_day() -> None:
    """1 L/min is 1,440 L a day of 2,400: 24 of 40 head, the rest hauled as one load of 960 L."""
    spring = {"name": "spring", "kind": "spring", "yield_l_min": 1.0, "tank_volume_l": 9000.0}
    supply = farm(spring, slope=DOWN).judge()
    day = verdict(supply, "Water a day")
    assert (day.figure, day.met) == (pytest.approx(1440.0), False)
    assert "1,440 L are a day's water of 24 of the 40 stores" in day.reason
    kept = remedy(supply, "waters 24 of the 40 stores")
    assert kept.works
    hauled = remedy(supply, "Haul the 960 L")
    assert hauled.works
    assert "1 load of" in hauled.action


def test_an_electric_borehole_pump_sized_from_scratch() -> None:
    """Water 20 m down, outlet 2 at 130 m: 5 m there and 6 m of pipe allowed, 61 m in all."""
    bore = {"name": "bore", "kind": "borehole", "yield_l_min": 20.0,
            "pump": {"water_level_below_m": 20.0}}  # fmt: skip
    supply = farm(bore, slope=UP).judge(friction_m=2.0)
    assert supply.met
    assert supply.pump["head_m"] == pytest.approx(61.0, abs=0.05)
    watts = 999.7 * 9.80665 * (2400.0 / 420.0 / 60_000.0) * 61.0 / 0.35
    assert supply.pump["power_w"] == pytest.approx(watts, rel=1e-3)
    assert np.isnan(supply.pump["suction_lift_m"])


def test_a_borehole_pump_whose_curve_is_too_weak() -> None:
    pump = {
        "water_level_below_m": 20.0,
        "curve_flow_l_min": [0.0, 10.0],
        "curve_head_m": [40.0, 20.0],
    }
    supply = farm(
        {"name": "bore", "kind": "borehole", "yield_l_min": 20.0, "pump": pump}, slope=UP
    ).judge()
    level = verdict(supply, "Level of the water")
    had = 80.0 + 40.0 - 2.0 * 2400.0 / 420.0
    assert (level.figure, level.met) == (pytest.approx(had), False)
    stronger = remedy(supply, "A pump of 5.7 L/min")
    assert stronger.works
    assert f"{np.ceil(132.0 - had + 40.0 - 2.0 * 2400.0 / 420.0):.0f} m" in stronger.action


def test_surface_water_by_a_solar_pump_into_a_tank() -> None:
    """2.4 m3 through 3 m of lift: rho g V H = 70.6 kJ = 19.6 Wh, over 4 h, 0.35 and 0.8."""
    stream = {"name": "stream", "kind": "surface_water", "yield_l_min": 60.0,
              "height_above_ground_m": 2.0,
              "pump": {"power": "solar", "water_level_below_m": 1.0,
                       "suction_lift_m": 3.0}}  # fmt: skip
    supply = farm(stream, slope=DOWN).judge()
    assert supply.met
    assert supply.pump["flow_l_min"] == pytest.approx(10.0)  # 2,400 L in 4 h
    assert supply.pump["head_m"] == pytest.approx(3.0)
    assert supply.pump["panel_w"] == pytest.approx(
        2.4 * 999.7 * 9.80665 * 3.0 / 3600.0 / 4.0 / 0.28
    )
    assert supply.pump["storage_l"] >= 3 * 2400.0  # NRCS South Dakota: three days
    weak = farm({**stream, "yield_l_min": 8.0}, slope=DOWN).judge()
    assert not verdict(weak, "Water a day").met


def test_suction_ends_at_six_or_seven_metres() -> None:
    pump = {"suction_lift_m": 7.5, "water_level_below_m": 7.5}
    supply = farm(
        {"name": "stream", "kind": "surface_water", "yield_l_min": 60.0, "pump": pump}, slope=DOWN
    ).judge()
    suction = verdict(supply, "Suction lift")
    assert not suction.met
    assert 6.0 <= suction.limit <= 7.0  # practical limit at sea level, from memory; here 100 m up
    assert remedy(supply, "above the water, or under it").works


def test_a_bowser_by_trips_and_hours() -> None:
    """2,400 L by loads of 1,000 L: three trips; 1,000 L last 16 head of 60 L a day."""
    bowser = {"name": "bowser", "kind": "bowser", "height_above_ground_m": 1.0}
    supply = farm(bowser, slope=DOWN).judge()
    assert supply.met
    assert dict(supply.labour) == {"trips_day": 3.0, "hours_day": 3.0, "head_1000_l": 16.0}
    slow = farm(bowser, slope=DOWN, supply={"bowser_trip_h": 2.0}).judge()
    hours = verdict(slow, "Hours a day")
    assert (hours.figure, hours.limit, hours.met) == (6.0, 4.0, False)
    assert remedy(slow, "A bowser of 1,200 L does it in 2 loads").works


def test_wider_pipe_mends_friction() -> None:
    """10 m lost in 25 mm pipe; a tank 6 m above outlet 2 at no flow needs 8 m less."""
    supply = farm({"name": "tank", "kind": "header_tank"}, slope=-0.01, head=120).judge(
        friction_m=10.0
    )
    assert verdict(supply, "Level of the water").limit == pytest.approx(106.0)
    wider = remedy(supply, "32 mm in place of 25 mm")
    assert wider.works


def test_with_a_calendar_the_peak_month_counts() -> None:
    """40 head in June, 60 in July: the spring of 2,880 L is short by 720 of 3,600 in July."""
    spring = {"name": "spring", "kind": "spring", "yield_l_min": 2.0, "tank_volume_l": 9000.0}
    hill = farm(spring, slope=DOWN)
    calendar = pd.DataFrame(
        {"month": [6, 7], "mob": "stores", "head": [40, 60], "daily_demand_l": [2400.0, 3600.0]}
    )
    july = replace(hill, demand=replace(hill.demand, calendar=calendar, peak_month=7))
    day = verdict(july.judge(), "Water a day")
    assert (day.figure, day.limit, day.met) == (pytest.approx(2880.0), 3600.0, False)
    june = replace(hill, demand=replace(hill.demand, calendar=calendar, peak_month=6))
    assert verdict(june.judge(), "Water a day").met


def test_another_source_is_offered_with_its_height() -> None:
    tank = {"name": "hill tank", "kind": "header_tank", "level_m": 140.0, "yield_l_min": 3.0}
    low = {**MAIN, "static_pressure_bar": 2.0}
    other = remedy(farm(low, tank, slope=UP).judge(), 'Plan again from "hill tank"')
    assert other.works
    assert "8.0 m higher than the scheme needs" in other.action
    dry = {**tank, "yield_l_min": 1.0}
    assert not remedy(farm(low, dry, slope=UP).judge(), "Plan again").works


def test_a_lone_outlet_short_of_flow_is_a_lack_of_head() -> None:
    short = delivery([5.0, 3.0], [5.0, 3.0])
    supply = farm(MAIN, slope=DOWN).judge(delivery=short)
    assert not verdict(supply, "Flow delivered").met
    lack = verdict(supply, "Level of the water")
    share = 3.0 / (2400.0 / 420.0)
    assert lack.limit - lack.figure == pytest.approx((1 - share**2) * 2.0)


def test_an_outlet_short_while_others_run_is_told_not_failed() -> None:
    supply = farm(MAIN, slope=DOWN).judge(delivery=delivery([9.0, 9.0], [9.0, 3.0]))
    assert supply.met
    assert "outlet 2 gets 3.0 of 5.7 L/min with outlet 1 open too" in supply.warnings[0]


def test_remedies_that_are_enough_stand_first() -> None:
    works = [item.works for item in farm({**MAIN, "bucket_s": 180.0}, slope=UP).judge().remedies]
    assert works == sorted(works, reverse=True)


def test_a_bowser_too_low_is_stood_higher() -> None:
    supply = farm({"name": "bowser", "kind": "bowser"}, slope=0.05).judge()
    moved = remedy(supply, "Stand the tank at")
    assert moved.works
    assert moved.figure >= 132.0 + 2.0  # outlet 2, its valve, and the margin


def test_a_tank_too_low_is_fed_higher_by_the_same_main() -> None:
    """Its main of 61 m of head fills a tank on the hill, where the old one commands too little."""
    tank = {"name": "tank", "kind": "header_tank", "fed_by": "main"}
    strong = {**MAIN, "static_pressure_bar": 6.0}
    tank_up = remedy(farm(tank, strong, slope=UP).judge(), "A header tank of")
    assert tank_up.works
    assert (
        "main fills it through an air gap, with 1.7 L/min day and night, by its own pressure"
        in (tank_up.action)
    )


def test_a_source_with_a_fault_is_told_of_not_hidden() -> None:
    low = {**MAIN, "static_pressure_bar": 2.0}
    far = {"name": "far", "kind": "spring", "at": [400_000.0, 481_500.0]}
    other = remedy(farm(low, far, slope=UP).judge(), "far could not be weighed")
    assert not other.works


def test_a_booster_draws_on_the_tank_that_parts_it_from_the_main() -> None:
    """The tank at the main, 101 m, and a pump after it for outlet 2 at 130 m."""
    boosted = {**MAIN, "tank_volume_l": 3000.0, "height_above_ground_m": 1.0, "pump": {}}
    supply = farm(boosted, slope=UP, trough={"inlet": "submerged"}).judge(friction_m=2.0)
    assert supply.met
    assert supply.pump["head_m"] == pytest.approx(130.0 + 5.0 + 6.0 - 101.0, abs=0.05)
    assert verdict(supply, "Air gap").met
    assert verdict(supply, "Volume of the tank").limit <= 3000.0


def test_a_tank_filled_in_too_few_hours_is_filled_longer() -> None:
    """2 L/min in 8 h are 960 L of 2,400; day and night they are 2,880."""
    spring = {"name": "spring", "kind": "spring", "yield_l_min": 2.0, "tank_volume_l": 9000.0}
    night = {"fill_from_hour": 22.0, "fill_to_hour": 6.0}
    supply = farm(spring, slope=DOWN, supply=night).judge()
    assert verdict(supply, "Water a day").figure == pytest.approx(960.0)
    longer = remedy(supply, "Fill the tank day and night")
    assert longer.works
    assert longer.figure == pytest.approx(2880.0)


def test_a_remedy_that_is_half_enough_says_what_it_leaves() -> None:
    """A weak main that is also too low: fixed troughs mend the flow, not the head."""
    weak = {**MAIN, "bucket_s": 125.0, "static_pressure_bar": 2.5}
    supply = farm(weak, slope=0.03).judge()
    fixed = remedy(supply, "Fixed troughs")
    assert not fixed.works
    assert "leaves the head to be mended besides" in fixed.action
    assert fixed.mends == ("Flow of the source",)
