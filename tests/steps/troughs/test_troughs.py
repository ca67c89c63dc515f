"""Troughs and valves: how stock arrive, published rules, suggested volumes and suitability."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from trough_ground import mob, watering

from dewpond.base.errors import InputError
from dewpond.base.model import Watering
from dewpond.base.settings import TroughSettings
from dewpond.steps.troughs.rules import Use, judge_use
from dewpond.steps.troughs.stock import Drinkers, traits_of

US_GALLON_L = 3.785411784
DAY_L = 52 * 0.15 * 640  # of the usual mob: 4,992 L


def flow(found: Watering) -> float:
    return float(found.outlets["design_flow_l_min"].iloc[0])


def notes(found: Watering) -> str:
    return " ".join(found.outlets["notes"].iloc[0])


# --- In ones and twos, or together ---------------------------------------------------------


@pytest.mark.parametrize(
    ("walk_m", "area_ha", "arrival"),
    [
        (400.0, 6.0, "ones and twos"),
        (401.0, 6.0, "together"),
        (900.0, 2.5, "ones and twos"),
        (900.0, 2.6, "together"),
    ],
)
def test_within_400_m_or_two_and_a_half_hectares(
    walk_m: float, area_ha: float, arrival: str
) -> None:
    """Common practice, no source."""
    found = watering(mob(), walks_m=(walk_m,), area_ha=area_ha)
    assert found.uses["arrival"].tolist() == [arrival]
    assert ("come to water together" in notes(found)) == (arrival == "together")
    assert any("comes to water together" in item for item in found.warnings) == (
        arrival == "together"
    )


@pytest.mark.parametrize(("trough", "hours"), [("mobile", 7.0), ("fixed", 9.0)])
def test_in_ones_and_twos_the_hours_of_the_day_hold(trough: str, hours: float) -> None:
    found = watering(mob(), trough=trough)
    assert flow(found) == pytest.approx(DAY_L / (hours * 60))
    assert f"within {hours:g} h (common practice, no source)" in found.uses["rule"].iloc[0]


def test_a_walk_that_others_call_too_long_is_said() -> None:
    """Over 1000 ft (305 m) a herd walks as a group: Ohio State University ANR-12."""
    assert watering(mob(), walks_m=(300.0,)).warnings == ()
    (warning,) = watering(mob(), walks_m=(310.0,)).warnings
    assert "at outlet 1," in warning
    assert "beyond 305 m" in warning


# --- Rules for a mob that comes together ---------------------------------------------------

FAR = {"walks_m": (800.0,), "area_ha": 20.0}


def test_refill_within_an_hour_of_a_trough_of_two_gallons_a_head() -> None:
    """60 head: 454.2 L in an hour, 7.57 L/min: USDA Livestock Watering Data Sheet."""
    dry = mob(head=60, weight_kg=100.0, lactating=False)  # 720 L a day: the hours ask for less
    found = watering(dry, trough="fixed", **FAR)
    assert flow(found) == pytest.approx(60 * 2 * US_GALLON_L / 60)
    assert found.uses["trough_volume_l"].iloc[0] == pytest.approx(454.2, abs=0.1)
    assert "USDA" in found.uses["rule"].iloc[0]


def test_a_trough_too_small_for_that_is_refilled_at_each_space() -> None:
    """2 US gal/min for each of 6 spaces: the same data sheet, row for a trough of no volume."""
    found = watering(mob(), **FAR)  # two mobile troughs of 120 L
    assert flow(found) == pytest.approx(6 * 2 * US_GALLON_L)
    assert "for each of 6 spaces" in found.uses["rule"].iloc[0]
    assert "A fixed trough of" in notes(found)


def test_the_hours_of_the_day_stand_where_they_ask_for_more() -> None:
    found = watering(mob(), trough="fixed", **FAR)
    assert flow(found) == pytest.approx(DAY_L / 540)
    assert 'more than "refill in an hour" asks (6.6 L/min)' in found.uses["rule"].iloc[0]


def test_hours_of_the_day_whatever_the_distance() -> None:
    found = watering(mob(), rule="hours of the day", **FAR)
    assert flow(found) == pytest.approx(DAY_L / 420)


@pytest.mark.parametrize(
    ("stock", "share", "litres_min"),
    [
        ({"species": "sheep", "head": 500, "weight_kg": 50.0}, 0.2, 20.83),
        ({"head": 160, "weight_kg": 500.0}, 0.2, 66.67),
    ],
)
def test_day_in_four_hours(stock: dict[str, object], share: float, litres_min: float) -> None:
    """500 sheep 21 L/min; 160 cattle 67 L/min (printed): Agriculture Victoria 2024."""
    herd = mob(**{"lactating": False, **stock})  # type: ignore[arg-type]
    found = watering(herd, rule="day in four hours", demand={"share_other": share}, **FAR)
    assert flow(found) == pytest.approx(litres_min, abs=0.01)
    day_l = litres_min * 240
    assert found.uses["trough_volume_l"].iloc[0] >= 0.25 * day_l - 1  # Ohio State ANR-12


def test_herd_in_twenty_minutes() -> None:
    """The inflow waters the herd, a third of the day each, in 20 min: NRCS Missouri."""
    found = watering(mob(), rule="herd in twenty minutes", **FAR)
    assert flow(found) == pytest.approx(DAY_L / 3 / 20)
    assert found.uses["drinking_at_once"].iloc[0] == 6  # space for 10 % of the herd


def test_a_fixed_trough_is_a_buffer_in_those_twenty_minutes() -> None:
    found = watering(mob(), trough="fixed", volume_l=400.0, rule="herd in twenty minutes", **FAR)
    assert found.outlets["troughs"].iloc[0] == 2
    assert flow(found) == pytest.approx((DAY_L / 3 - 800) / 20)
    free = watering(mob(), trough="fixed", rule="herd in twenty minutes", **FAR)
    assert flow(free) == pytest.approx(DAY_L / 540)
    held = DAY_L / 3 - 20 * DAY_L / 540
    assert free.uses["trough_volume_l"].iloc[0] == pytest.approx(held)


def use(trough: str = "fixed", head: int = 52, **values: Any) -> Use:
    """Judge cows that come together from afar."""
    drinkers = Drinkers(
        "cows", "outlet 1", 0, "field 1", "cattle", trough, 800.0, 20.0, float(head),
        head * 96.0, 7.0 if trough == "mobile" else 9.0, 9.0, traits_of("cattle", True, 640.0),
    )  # fmt: skip
    return judge_use(drinkers, TroughSettings(**values))


RULES = ("hours of the day", "refill in an hour", "day in four hours", "herd in twenty minutes")


@pytest.mark.parametrize("rule", RULES)
@given(volume_l=st.floats(50.0, 3000.0), times=st.floats(1.0, 2.0))
@settings(deadline=None, derandomize=True, max_examples=40)
def test_a_larger_fixed_trough_never_asks_for_more_flow(
    rule: str, volume_l: float, times: float
) -> None:
    small, large = (use(rule=rule, volume_l=volume) for volume in (volume_l, times * volume_l))
    assert large.flow_l_min <= small.flow_l_min + 1e-9


@pytest.mark.parametrize("trough", ["mobile", "fixed"])
@pytest.mark.parametrize("rule", RULES)
@given(head=st.integers(1, 300), more=st.integers(0, 100))
@settings(deadline=None, derandomize=True, max_examples=40)
def test_more_head_never_ask_for_less(rule: str, trough: str, head: int, more: int) -> None:
    few, many = (use(trough, count, rule=rule) for count in (head, head + more))
    assert many.event.at_once >= few.event.at_once
    assert many.troughs >= few.troughs
    if many.troughs == few.troughs:  # one more in the link is one more buffer
        assert many.flow_l_min >= few.flow_l_min - 1e-9
    assert many.least_volume_l >= 0.0


@pytest.mark.parametrize("trough", ["mobile", "fixed"])
@pytest.mark.parametrize("rule", RULES)
@given(head=st.integers(1, 400))
@settings(deadline=None, derandomize=True, max_examples=40)
def test_no_rule_asks_for_less_than_the_day_in_its_hours(
    rule: str, trough: str, head: int
) -> None:
    found = use(trough, head, rule=rule)
    assert found.flow_l_min >= head * 96.0 / (found.drinkers.hours * 60) - 1e-9
    assert found.ample_volume_l >= found.least_volume_l
    assert found.event.minutes_with(found.ample_volume_l, found.flow_l_min) == pytest.approx(
        found.event.minutes
    )


# --- Volume --------------------------------------------------------------------------------


def test_volume_for_dairy_cows() -> None:
    """150 cows x 9 L = 1350 L: Teagasc."""
    cows = mob(head=150, weight_kg=600.0)
    found = watering(cows, trough="fixed", demand={"share_lactating": 70 / 600})
    assert found.outlets["trough_volume_l"].iloc[0] == pytest.approx(1350)


def test_suggested_volume_covers_what_is_drawn_beyond_the_inflow() -> None:
    """Peak draw less inflow, for as long as the mob's visit lasts, worked by hand."""
    found = watering(mob(), trough="fixed", **FAR)
    inflow, draw, wanted = DAY_L / 540, 6 * 14.0, DAY_L / 3
    by_hand = (draw - inflow) * wanted / draw
    assert by_hand == pytest.approx(1481, abs=1)
    assert found.outlets["trough_volume_l"].iloc[0] == 1490  # rounded up to tens
    assert "all 52 cows can drink in one visit of 20 min, 6 at once at 14 L/min" in notes(found)


def test_a_trough_that_runs_dry_is_said_with_what_would_do() -> None:
    found = watering(mob(), trough="fixed", volume_l=60.0)
    assert "60 L runs dry" in notes(found)
    assert any("runs dry" in item for item in found.warnings)
    assert not any("runs dry" in item for item in watering(mob()).warnings)


def test_refill_after_tipping() -> None:
    found = watering(mob()).outlets.iloc[0]
    assert found["refill_min"] == pytest.approx(120 / (DAY_L / 420))
    slow = watering(mob(head=2), trough="fixed", volume_l=1000.0)
    assert "to refill after tipping" in notes(slow)


# --- Spaces, rims and ground ---------------------------------------------------------------


def test_edge_of_victoria() -> None:
    """8 to 10 m of edge for 500 sheep or 160 cattle, a tenth at once: Agriculture Victoria."""
    sheep = mob(species="sheep", head=500, weight_kg=60.0, lactating=False)
    for stock, edge_m_head in ((sheep, 0.17), (mob(head=160, lactating=False), 0.45)):
        found = watering(stock, edge_m=1000.0, **FAR).outlets.iloc[0]
        assert found["troughs"] == 1
        assert 7.0 <= found["drinking_spaces"] * edge_m_head <= 10.0


def test_linked_troughs_give_the_spaces() -> None:
    """Teagasc: 0.45 m of edge a cow, so a trough with 2.4 m has room for 5."""
    found = watering(mob(), **FAR)
    row = found.outlets.iloc[0]
    assert (row["drinking_spaces"], row["troughs"], row["head_per_trough"]) == (6, 2, 26)
    assert row["trough_volume_l"] == 240
    assert "2 troughs linked" in notes(found)


@pytest.mark.parametrize(
    ("stock", "rim_m"),
    [
        ({"lactating": False}, "0.75"),  # DairyCo
        ({}, "0.60"),
        ({"lactating": False, "weight_kg": 120.0}, "0.45"),
        ({"species": "sheep", "weight_kg": 70.0}, "0.30"),
        ({"species": "sheep", "weight_kg": 70.0, "lactating": False}, "0.40"),
    ],
)
def test_rim_for_the_lightest(stock: dict[str, object], rim_m: str) -> None:
    """0.75 m for grown cattle is DairyCo's; the others are common practice, no source."""
    assert f"Rim no higher than {rim_m} m" in notes(watering(mob(**stock)))  # type: ignore[arg-type]


def test_rim_counts_young_that_come_later_in_the_year() -> None:
    young = [{"months": [9], "young_head": 50, "young_weight_kg": 140.0}]
    cows = mob(lactating=False, period=young)
    cows = type(cows)(cows.settings, (0,), ((0,),) * 12)
    assert "Rim no higher than 0.45 m" in notes(watering(cows))


def test_sheep_and_cattle_at_one_trough() -> None:
    ewes = mob("ewes", species="sheep", head=120, weight_kg=70.0)
    assert "Cattle foul a trough so low" in notes(watering(mob(), ewes))
    assert "Cattle foul" not in notes(watering(ewes))


@pytest.mark.parametrize(
    ("slope", "words"), [(4.0, ""), (7.0, "along the contour"), (12.0, "too steep")]
)
def test_slope(slope: float, words: str) -> None:
    found = watering(mob(), slope_degrees=slope)
    assert (words in notes(found)) if words else ("slopes" not in notes(found))
    assert any("steeper than 10°" in item for item in found.warnings) == (slope > 10)


# --- Which trough --------------------------------------------------------------------------


def test_trough_of_the_paddock_before_that_of_the_mob_before_that_of_the_design() -> None:
    found = watering(
        mob("a", (0, 1)), mob("b", (0, 1), trough="fixed"), walks_m=(100.0, 100.0),
        fixed_in=["field 1"], mobile_in=["field 2"],
    )  # fmt: skip
    kinds = found.uses.set_index(["mob", "paddock"])["trough"]
    assert kinds.to_dict() == {
        ("a", 0): "fixed", ("b", 0): "fixed", ("a", 1): "mobile", ("b", 1): "mobile",
    }  # fmt: skip
    plain = watering(mob("a"), mob("b", trough="fixed"))
    assert plain.uses["trough"].tolist() == ["mobile", "fixed"]
    assert plain.outlets["trough"].tolist() == ["fixed"]
    assert "drink from the fixed one" in notes(plain)


def test_uses_are_sorted_and_outlets_in_the_order_of_the_network() -> None:
    found = watering(mob("b", (0, 1)), mob("a", (1,)), walks_m=(100.0, 100.0))
    assert found.uses[["outlet", "mob"]].to_numpy().tolist() == [
        ["outlet 1", "b"], ["outlet 2", "a"], ["outlet 2", "b"],
    ]  # fmt: skip
    assert found.outlets.index.tolist() == ["outlet 1", "outlet 2"]


def test_an_outlet_that_nobody_walks_to_and_a_mob_without_water() -> None:
    found = watering(mob("a", (0,)), mob("b", ()), walks_m=(100.0, 100.0))
    assert found.outlets.at["outlet 2", "design_flow_l_min"] == 0.0
    assert found.outlets.at["outlet 2", "valve_head_m"] == 0.0
    assert 'Mob "b" has no outlet in any paddock that it grazes.' in found.warnings


# --- Float valves --------------------------------------------------------------------------


def test_least_seat_that_passes_the_flow() -> None:
    """q = Cd A sqrt(2 g h): 11.9 L/min wants 6.9 m through 6 mm and 2.2 m through 8 mm."""
    row = watering(mob()).outlets.iloc[0]
    area = 0.6 * np.pi * 0.008**2 / 4
    by_hand = (DAY_L / 420 / 60_000 / area) ** 2 / (2 * 9.80665)
    assert row["seat_bore_mm"] == 8
    assert row["valve_head_m"] == pytest.approx(by_hand)
    assert watering(mob(), valve_head_limit_m=8.0).outlets["seat_bore_mm"].iloc[0] == 6


def test_a_seat_that_is_set_is_kept_and_judged() -> None:
    found = watering(mob(), seat_bore_mm=5.0, discharge_coefficient=0.7)
    assert found.outlets["seat_bore_mm"].iloc[0] == 5
    assert found.outlets["discharge_coefficient"].iloc[0] == 0.7
    assert "widest float valve on offer, 5 mm" in notes(found)
    assert any("No float valve on offer" in item for item in found.warnings)


def test_valves_of_the_user(tmp_path: Path) -> None:
    table = tmp_path / "valves.csv"
    table.write_text(
        "name,kind,loss_coefficient,seat_bore_mm,discharge_coefficient,source\n"
        "yard stock,float valve,,9,0.55,measured\n"
    )
    for path, folder in ((str(table), Path()), ("valves.csv", tmp_path)):
        row = watering(mob(), valves=path, folder=folder).outlets.iloc[0]
        assert (row["seat_bore_mm"], row["discharge_coefficient"]) == (9, 0.55)


def test_a_table_of_valves_without_any_is_a_fault(tmp_path: Path) -> None:
    (tmp_path / "valves.csv").write_text(
        "name,kind,loss_coefficient,seat_bore_mm,discharge_coefficient,source\n"
        "elbow,fitting,0.9,,,a table\n"
    )
    with pytest.raises(InputError, match="float valve"):
        watering(mob(), valves="valves.csv", folder=tmp_path)


def test_the_calendar_gives_each_paddock_its_own_month() -> None:
    cows = mob("cows", (0, 1), period=[{"months": [7], "head": 80, "paddocks": ["field 2"]}])
    by_month = tuple((1,) if month == 7 else (0,) for month in range(1, 13))
    found = watering(type(cows)(cows.settings, (0, 1), by_month), walks_m=(100.0, 100.0))
    flows = found.outlets["design_flow_l_min"]
    assert flows["outlet 1"] == pytest.approx(DAY_L / 420)
    assert flows["outlet 2"] == pytest.approx(80 / 52 * DAY_L / 420)
