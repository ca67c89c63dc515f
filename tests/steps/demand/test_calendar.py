"""The stocking calendar: months, peaks, young counted apart, and its faults."""

from __future__ import annotations

import tomllib
from types import SimpleNamespace
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import box

from dewpond import project_from_dict
from dewpond.base.errors import InputError
from dewpond.base.model import Demand, Mob
from dewpond.base.settings import DemandSettings, DesignSettings, MobSettings
from dewpond.base.settings.template import template
from dewpond.steps.demand import estimate_demand
from dewpond.steps.read import read_holding
from farms import CRS, ground, project, squares, table

ALL_YEAR = ((0,),) * 12


def mob(*periods: dict[str, Any], name: str = "cows", **values: Any) -> Mob:
    values = {"species": "cattle", "head": 50, "weight_kg": 600.0, **values}
    found = MobSettings.model_validate({"name": name, "period": list(periods), **values})
    by_month = [() if _away(found, month) else (0,) for month in range(1, 13)]
    return Mob(found, (0,), tuple(by_month) if periods else ())


def _away(found: MobSettings, month: int) -> bool:
    return any(month in period.months and period.head == 0 for period in found.period)


def demand_of(*mobs: Mob, **demand: Any) -> Demand:
    fields = gpd.GeoDataFrame({"name": ["field"]}, geometry=[box(0, 0, 1, 1)], crs=CRS)
    holding: Any = SimpleNamespace(mobs=mobs, paddocks=fields)
    return estimate_demand(holding, DemandSettings(**demand), DesignSettings())


def month_l(found: Demand, name: str = "cows") -> list[float]:
    rows = found.calendar[found.calendar["mob"] == name]
    assert rows["month"].tolist() == list(range(1, 13))
    return [float(value) for value in rows["daily_demand_l"]]


def test_without_periods_nothing_changes() -> None:
    found = demand_of(mob())
    assert found.calendar.empty
    assert found.peak_month == 0
    assert found.daily_demand_l == pytest.approx(50 * 0.12 * 600)
    assert found.mobs.loc["cows", "peak_month"] == 0


def test_calving_in_april_makes_the_peak() -> None:
    """15 % in milk, 12 % else, of live weight: common practice, no source; worked by hand."""
    found = demand_of(mob({"months": [4, 5, 6, 7, 8, 9], "lactating": True, "weight_kg": 620.0}))
    dry, milk = 50 * 0.12 * 600, 50 * 0.15 * 620
    assert month_l(found) == pytest.approx([dry] * 3 + [milk] * 6 + [dry] * 3)
    assert found.peak_month == 4
    row = found.mobs.loc["cows"]
    assert (row["peak_month"], row["weight_kg"], row["lactating"]) == (4, 620.0, True)
    assert row["design_flow_l_min"] == pytest.approx(milk / 420)
    assert any("needs most in April" in item for item in found.warnings)


def test_young_count_apart_from_their_sixth_month() -> None:
    """Calves of March drink besides from September; by hand: 50 x 15 % x 600 + 48 x 12 % x 250."""
    found = demand_of(
        mob(
            {"months": list(range(4, 12)), "young_head": 48, "young_weight_kg": 250.0},
            lactating=True,
            young_born_month=3,
        )
    )
    cows, calves = 50 * 0.15 * 600, 48 * 0.12 * 250
    assert month_l(found) == pytest.approx([cows] * 8 + [cows + calves] * 3 + [cows])
    assert found.peak_month == 9
    assert found.mobs.loc["cows", "young_head"] == 48
    assert found.calendar.loc[found.calendar["month"] == 8, "young_head"].tolist() == [0]


def test_age_is_counted_over_the_turn_of_the_year() -> None:
    period = {"months": [1, 2, 3], "young_head": 10, "young_weight_kg": 100.0}
    found = demand_of(
        mob(
            period, lactating=True, young_born_month=10, young_counted_apart_after_months=4,
        )
    )  # fmt: skip
    calves = 10 * 0.12 * 100
    cows = 50 * 0.15 * 600
    assert month_l(found)[:3] == pytest.approx([cows, cows + calves, cows + calves])


def test_weaned_young_count_whatever_their_age() -> None:
    period = {"months": [5], "young_head": 10, "young_weight_kg": 100.0}
    found = demand_of(mob(period, lactating=False, young_born_month=4))
    assert month_l(found)[4] - month_l(found)[3] == pytest.approx(10 * 0.12 * 100)


def test_a_mob_that_is_away_drinks_nothing() -> None:
    found = demand_of(mob({"months": [11, 12, 1, 2], "head": 0}))
    assert [month for month, litres in enumerate(month_l(found), 1) if litres == 0] == [
        1,
        2,
        11,
        12,
    ]
    assert found.peak_month == 3
    assert found.calendar.loc[found.calendar["month"] == 1, "head"].tolist() == [0]


def test_the_holding_peaks_when_the_mobs_together_do() -> None:
    """Ewes in spring and cattle in autumn: the day's total is that of one month, not both."""
    ewes = mob(
        {"months": [4, 5], "lactating": True}, name="ewes", species="sheep", head=400,
        weight_kg=70.0,
    )  # fmt: skip
    stores = mob({"months": [9, 10], "head": 120}, name="stores", head=10, weight_kg=400.0)
    found = demand_of(ewes, stores)
    spring = 400 * 0.15 * 70 + 10 * 0.12 * 400
    autumn = 400 * 0.12 * 70 + 120 * 0.12 * 400
    assert autumn > spring
    assert (found.peak_month, found.daily_demand_l) == (9, pytest.approx(autumn))
    assert found.mobs["peak_month"].to_dict() == {"ewes": 4, "stores": 9}
    assert any("ewes in April" in item for item in found.warnings)
    assert found.paddocks["daily_demand_l"].iloc[0] == pytest.approx(120 * 0.12 * 400)


def test_a_mob_without_periods_beside_one_with() -> None:
    found = demand_of(mob(name="steady"), mob({"months": [6], "head": 60}))
    assert month_l(found, "steady") == pytest.approx([50 * 0.12 * 600] * 12)


@given(
    st.lists(st.integers(0, 200), min_size=12, max_size=12).filter(any),
    st.booleans(),
)
@settings(deadline=None, derandomize=True, max_examples=25)
def test_the_peak_is_the_greatest_month_and_no_month_exceeds_it(
    heads: list[int], lactating: bool
) -> None:
    periods = [{"months": [month], "head": head} for month, head in enumerate(heads, 1)]
    found = demand_of(mob(*periods, lactating=lactating), mob(name="steady"))
    totals = np.array(heads) * (0.15 if lactating else 0.12) * 600 + 50 * 0.12 * 600
    assert found.daily_demand_l == pytest.approx(totals.max())
    assert found.peak_month == int(totals.argmax()) + 1


# --- Reading -------------------------------------------------------------------------------


def read(*periods: dict[str, Any], **tables: Any) -> Any:
    fields = squares(2, 1, 200.0)
    stock = {
        "name": "cows", "species": "cattle", "head": 50, "weight_kg": 600.0,
        "paddocks": ["field 1"], "period": list(periods),
    }  # fmt: skip
    with ground(fields, lambda x, _: np.full_like(x, 100.0)) as data:
        return read_holding(
            project(mob=[stock], paddocks={"name_field": "name"}, **tables),
            paddocks=table(fields),
            elevation=data,
        )


def test_paddocks_of_a_period_are_added_to_those_of_the_mob() -> None:
    found = read(
        {"months": [7, 8], "paddocks": ["field 2"]},
    ).mobs[0]
    assert found.paddocks == (0, 1)
    assert found.by_month == tuple((1,) if month in (7, 8) else (0,) for month in range(1, 13))


def test_every_month_in_periods_leaves_the_usual_paddocks_out() -> None:
    found = read({"months": list(range(1, 13)), "paddocks": ["field 2"]}).mobs[0]
    assert found.paddocks == (1,)


def test_an_unknown_paddock_of_a_period_is_a_fault() -> None:
    with pytest.raises(InputError, match=r"\[\[mob.period\]\] 1, paddocks") as error:
        read({"months": [7], "paddocks": ["feild 2"]})
    assert "field 2" in str(error.value)


def test_paddocks_of_the_trough_table_are_checked() -> None:
    assert read(trough={"fixed_in": ["field 2"]}).mobs[0].by_month == ()
    with pytest.raises(InputError) as error:
        read(trough={"fixed_in": ["feild 2", "field 1"], "mobile_in": ["field 1"]})
    assert len(error.value.faults) == 2


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"period": [{"months": [4]}, {"months": [3, 4]}]}, "periods overlap in month 4"),
        ({"period": [{"months": [4, 4]}]}, "a month stands twice"),
        ({"period": [{"months": []}]}, "months"),
        ({"period": [{"months": [13]}]}, "13"),
        ({"period": [{"months": [4], "young_head": 5}]}, "young_head needs young_weight_kg"),
        ({"period": [{"months": list(range(1, 13)), "head": 0}]}, "away all year"),
        ({"period": [{"months": [4], "heads": 5}]}, "heads"),
    ],
)
def test_faults_of_periods(changes: dict[str, Any], words: str) -> None:
    stock = {"name": "cows", "species": "cattle", "head": 50, "weight_kg": 600.0, **changes}
    with pytest.raises(InputError) as error:
        project_from_dict(
            {
                "holding": {"name": "Test farm"},
                "mob": [stock],
                "source": [{"name": "tank", "kind": "header_tank", "at": [0.0, 0.0]}],
            }
        )
    assert words in str(error.value)
    assert "mob" in error.value.faults[0].where


def test_the_period_shown_in_the_template_can_be_switched_on() -> None:
    shown = template()
    start = shown.index("# [[mob.period]]")
    end = shown.index("\n\n", start)
    keys = [line[2:] for line in shown[start:end].splitlines() if " = " in line or "[[" in line]
    wanted = [line for line in keys if not line.endswith("...")]
    text = shown[:start] + "\n".join(wanted) + shown[end:]
    (found,) = project_from_dict(tomllib.loads(text)).mob[0].period
    assert (found.months, found.head, found.paddocks) == ([4, 5, 6], 60, ["Long Ling"])
