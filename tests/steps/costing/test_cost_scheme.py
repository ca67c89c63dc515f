"""The priced schedule of the plan made by hand: quantities, grants, holders, stages, years."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from costed import costing_with, line, plan_with
from hand_plan import make_plan, with_scheme

import farms
from dewpond.base.model import Costing, Plan


@pytest.fixture(scope="module")
def plan() -> Plan:
    return make_plan()


@pytest.fixture(scope="module")
def costing(plan: Plan) -> Costing:
    assert plan.scheme.costing is not None
    return plan.scheme.costing


class TestQuantities:
    def test_pipe_with_joints_and_waste(self, plan: Plan, costing: Costing) -> None:
        """Pipe 1, by hand: coils of 100 m, 0.3 m at each joint, 5 % waste."""
        length_m = round(float(plan.network.pipes.at["pipe 1", "length_m"]), 2)
        joints = -int(-length_m // 100) - 1
        row = line(costing, "pipe-PE80-40-SDR11")
        assert row["measured"] == length_m
        assert row["quantity"] == pytest.approx((length_m + 0.3 * joints) * 1.05)
        assert row["rate"] == 1.9
        assert row["features"] == ("pipe 1",)
        assert line(costing, "coupler-40")["quantity"] == joints

    def test_old_pipe_is_neither_bought_nor_laid(self, plan: Plan, costing: Costing) -> None:
        bought = costing.items[costing.items["work"].isin(["pipe", "laying"])]
        assert not any("pipe 5" in features for features in bought["features"])
        new = plan.network.pipes["length_m"].iloc[:4].round(2).sum()
        laid = costing.items[costing.items["work"] == "laying"]["quantity"].sum()
        assert laid == pytest.approx(new)

    def test_tees_at_the_fork_and_where_pipe_runs_on(self, costing: Costing) -> None:
        """Outlet 1 and outlet 3 have pipe beyond them, junction 1 has two: three tees."""
        tees = costing.items[costing.items["code"].str.startswith("tee-")]
        assert tees["quantity"].sum() == 3.0
        assert line(costing, "tee-40")["features"] == ("pipe 1",)

    def test_troughs(self, costing: Costing) -> None:
        """One fixed trough of 200 L at outlet 1; two linked mobile ones that move with a mob."""
        assert line(costing, "trough-fixed-200")["quantity"] == 1.0
        assert line(costing, "trough-base")["features"] == ("outlet 1",)
        mobile = line(costing, "trough-mobile-120")
        assert mobile["quantity"] == 2.0
        assert mobile["features"] == ("outlet 2", "outlet 3", "outlet 4")
        assert line(costing, "trough-link")["quantity"] == 1.0
        assert line(costing, "hose-coupling")["quantity"] == 3.0
        # The valve of 9 mm at outlet 3 asks for a seat of 10 mm, the next on the list.
        assert line(costing, "float-valve-10")["quantity"] == 1.0

    def test_troughs_bought_for_each_outlet(self) -> None:
        costing = costing_with(costing={"mobile_troughs": "each outlet"})
        assert line(costing, "trough-mobile-120")["quantity"] == 4.0  # outlet 3 has two

    def test_works_at_the_source(self, costing: Costing) -> None:
        """3,500 L asks for the tank of 5,000; 110 W for the pump of 250."""
        source = costing.items[costing.items["work"] == "source"]
        assert list(source["code"]) == [
            "source-mains", "tank-5000", "tank-base", "tank-fittings", "pump-electric-250",
        ]  # fmt: skip
        assert line(costing, "tank-5000")["features"] == ("tank at road main",)

    def test_a_tank_that_is_there_costs_nothing(self, plan: Plan) -> None:
        source = plan.holding.sources[0]
        there = replace(source, settings=source.settings.model_copy(
            update={"tank_volume_l": 3500.0}
        ))  # fmt: skip
        holding = replace(plan.holding, sources=(there, *plan.holding.sources[1:]))
        costing = costing_with(replace(plan, holding=holding))
        assert not costing.items["code"].str.startswith("tank").any()

    def test_crossings_with_their_sleeves(self, costing: Costing) -> None:
        assert line(costing, "crossing-track")["quantity"] == 1.0
        assert line(costing, "crossing-watercourse")["quantity"] == 2.0
        assert line(costing, "sleeve")["quantity"] == 3 * 6.0

    def test_hours_of_laying(self, plan: Plan, costing: Costing) -> None:
        """1.5 h in each 100 m along a fence, 2 h along a track or over open ground."""
        metres = plan.network.pipes["length_m"].round(2)
        hours = (metres["pipe 2"] + metres["pipe 4"]) * 0.015
        hours += (metres["pipe 1"] + metres["pipe 3"]) * 0.02
        rows = costing.items[costing.items["description"] == "Labour, laying pipe"]
        assert rows["quantity"].sum() == pytest.approx(hours)

    def test_buried_pipe_is_trenched(self) -> None:
        costing = costing_with(design={"laying": "buried"})
        codes = set(costing.items["code"])
        assert {"trench-fence", "trench-track", "trench-open-ground"} <= codes
        assert not any(code.startswith("lay-") for code in codes)

    def test_pipe_without_a_size_is_told_of(self, plan: Plan) -> None:
        sizes = plan.scheme.sizes
        blank = sizes.pipes.copy()
        blank.loc["pipe 3"] = np.nan
        costing = costing_with(with_scheme(plan, sizes=replace(sizes, pipes=blank)))
        assert any("pipe 3" in warning for warning in costing.warnings)
        assert not any("pipe 3" in f for f in costing.items.query("work == 'pipe'")["features"])


class TestTotals:
    def test_by_addition(self, costing: Costing) -> None:
        items, totals = costing.items, costing.totals
        assert (items["amount"] - items["quantity"] * items["rate"]).abs().max() <= 0.00501
        assert totals["net"] == pytest.approx(items["amount"].sum())
        assert totals["contingency"] == pytest.approx(0.1 * totals["net"], abs=0.00501)
        assert totals["gross"] == pytest.approx(totals["net"] + totals["contingency"])
        holders = sum(totals[name] for name in ("landlord", "tenant", "portable"))
        assert holders == pytest.approx(totals["net"])

    def test_tax_is_on_the_contingency_too(self) -> None:
        totals = costing_with(costing={"tax_share": 0.2, "contingency_share": 0.05}).totals
        assert totals["gross"] == pytest.approx(totals["net"] * 1.05 * 1.2, abs=0.02)

    def test_every_amount_is_traced(self, costing: Costing) -> None:
        takeoff = costing.takeoff
        assert takeoff.groupby("item")["quantity"].sum().to_numpy() == pytest.approx(
            costing.items["quantity"].to_numpy()
        )
        assert takeoff["amount"].sum() == pytest.approx(costing.totals["net"])
        assert all(takeoff["features"].map(len) > 0)


class TestGrants:
    """Rates of LV7 and LV8, Countryside Stewardship, England: 152.92 a trough, 3.31 a metre."""

    def test_a_payment_for_each_unit(self, plan: Plan) -> None:
        grant = {"name": "LV8", "pays_for": ["pipe-PE80-40-SDR11"], "each": 0.5}
        costing = costing_with(plan, grant=[grant])
        row = line(costing, "pipe-PE80-40-SDR11")
        assert row["grant"] == pytest.approx(0.5 * row["quantity"])
        assert row["grant_name"] == "LV8"

    def test_never_more_than_the_amount(self, plan: Plan) -> None:
        grants = [
            {"name": "LV7", "pays_for": ["trough-fixed"], "each": 152.92},
            {"name": "LV8", "pays_for": ["pipe"], "each": 3.31},
        ]
        costing = costing_with(plan, grant=grants)
        # The sample trough costs more than LV7 pays; pipe at its sample price less than LV8.
        assert line(costing, "trough-fixed-200")["grant"] == pytest.approx(152.92)
        pipe = costing.items[costing.items["work"] == "pipe"]
        assert pipe["grant"].to_numpy() == pytest.approx(pipe["amount"].to_numpy())
        assert costing.totals["to_pay"] == pytest.approx(
            costing.totals["gross"] - 152.92 - pipe["amount"].sum(), abs=0.01
        )

    def test_caps_a_unit_an_item_and_in_all(self, plan: Plan) -> None:
        """Half of three stop valves, by hand: 16 / 21 / 29 each give 8, 10.50, 14.50."""
        half = {"name": "half", "pays_for": ["stop-valve"], "share": 0.5}

        def paid(**caps: float) -> list[float]:
            items = costing_with(plan, grant=[{**half, **caps}]).items
            return items[items["code"].str.startswith("stop-valve")]["grant"].tolist()

        assert paid() == pytest.approx([8.0, 10.5, 14.5])
        assert paid(cap_each=10.0) == pytest.approx([8.0, 10.0, 10.0])
        assert paid(cap_item=9.0) == pytest.approx([8.0, 9.0, 9.0])
        assert paid(cap=16.5) == pytest.approx([4.0, 5.25, 7.25])

    def test_the_code_goes_before_the_heading(self, plan: Plan) -> None:
        grants = [
            {"name": "works", "pays_for": ["fittings"], "share": 0.5},
            {"name": "meters", "pays_for": ["meter"], "share": 1.0},
        ]
        costing = costing_with(plan, grant=grants)
        assert line(costing, "meter")["grant"] == line(costing, "meter")["amount"]
        assert line(costing, "drain")["grant_name"] == "works"
        assert list(costing.grants["capped"]) == [False, False]


class TestHolders:
    def tenure(self, plan: Plan, *kinds: str, **tables: object) -> Costing:
        paddocks = plan.holding.paddocks.assign(tenure=list(kinds))
        holding = replace(plan.holding, paddocks=paddocks)
        return costing_with(replace(plan, holding=holding), **tables)

    def test_on_rented_ground_loose_works_are_the_tenants(self, plan: Plan) -> None:
        costing = self.tenure(plan, *["rented"] * 4)
        assert line(costing, "pipe-PE80-25-SDR11")["holder"] == "tenant"
        assert line(costing, "trough-fixed-200")["holder"] == "landlord"
        assert line(costing, "trough-mobile-120")["holder"] == "portable"
        assert line(costing, "crossing-track")["holder"] == "landlord"

    def test_buried_pipe_is_the_landlords(self, plan: Plan) -> None:
        costing = self.tenure(plan, *["rented"] * 4, design={"laying": "buried"})
        assert line(costing, "pipe-PE80-25-SDR11")["holder"] == "landlord"

    def test_what_a_mobile_trough_carries_goes_with_it(self, costing: Costing) -> None:
        assert line(costing, "float-valve-10")["holder"] == "portable"
        assert line(costing, "float-valve-6")["holder"] == "landlord"

    def test_ground_under_a_wayleave_pays_for_it(self, plan: Plan) -> None:
        costing = self.tenure(plan, "owned", "owned", "wayleave", "owned")
        wayleave = line(costing, "wayleave")
        assert wayleave["features"] == ("pipe 3",)
        assert 100.0 < wayleave["quantity"] < 200.0
        assert line(costing, "pipe-PE80-25-SDR11")["holder"] == "portable"

    def test_set_by_hand(self, plan: Plan) -> None:
        holder = {"pipe": "tenant", "trough-fixed": "tenant", "labour": "tenant"}
        costing = costing_with(plan, costing={"holder": holder})
        held = costing.items.set_index("code")["holder"]
        assert set(held[held.index.str.startswith("pipe-")]) == {"tenant"}
        assert held["trough-fixed-200"] == "tenant"
        assert set(held.loc[["labour"]]) == {"tenant"}
        assert held["meter"] == "landlord"


def test_parcels_follow_the_features(plan: Plan) -> None:
    paddocks = plan.holding.paddocks.assign(parcel=["P0", "P1", "P2", "P3"])
    costing = costing_with(replace(plan, holding=replace(plan.holding, paddocks=paddocks)))
    assert line(costing, "pipe-PE80-25-SDR11")["parcels"] == ("P2",)
    places = plan.network.nodes.geometry
    near = [p for p, shape in zip(paddocks["parcel"], paddocks.geometry, strict=True)
            if shapely.dwithin(shape, places["outlet 1"], 3.0)]  # fmt: skip
    assert line(costing, "trough-base")["parcels"] == tuple(near)


class TestStages:
    def test_each_works_with_those_before_it(self, plan: Plan) -> None:
        costing = costing_with(plan, costing={"most_stages": 9})
        pipes, built = plan.network.pipes, {"road main"}
        for _, stage in costing.stages.iterrows():
            for pipe in stage["pipes"]:
                assert pipes.at[pipe, "from_node"] in built
                built.add(pipes.at[pipe, "to_node"])
            assert set(stage["outlets"]) <= built
        outlets = [name for names in costing.stages["outlets"] for name in names]
        assert sorted(outlets) == [f"outlet {n}" for n in range(1, 5)]

    def test_names_in_a_stage_stand_in_the_order_of_the_plan(self, plan: Plan) -> None:
        order = {name: at for at, name in enumerate(plan.network.nodes.index)}
        told = costing_with(plan, costing={"most_stages": 1}).stages["outlets"].iloc[0]
        assert len(told) > 2
        assert list(told) == sorted(told, key=order.__getitem__)

    def test_they_add_up(self, costing: Costing) -> None:
        stages = costing.stages
        assert stages["net"].sum() == pytest.approx(costing.totals["net"])
        assert stages["running_gross"].iloc[-1] == pytest.approx(costing.totals["gross"])
        for _, row in costing.items.iterrows():
            assert sum(q for _, q in row["stage"]) == pytest.approx(row["quantity"])
        assert stages["within_budget"].all()

    def test_works_at_the_source_come_first(self, costing: Costing) -> None:
        source = costing.items[costing.items["work"] == "source"]
        assert {stage for pairs in source["stage"] for stage, _ in pairs} == {1}

    def test_a_budget_is_kept(self, plan: Plan, costing: Costing) -> None:
        budget = 0.8 * costing.totals["gross"]
        found = costing_with(plan, costing={"budget": budget})
        within = found.stages[found.stages["within_budget"]]
        assert 0 < len(within) < len(found.stages)
        assert within["running_gross"].iloc[-1] <= budget
        assert 0.0 < found.rates["water_share"] < 1.0
        assert found.rates["water_share"] == pytest.approx(found.rates["water_share_bound"])

    def test_a_budget_for_nothing(self, plan: Plan) -> None:
        found = costing_with(plan, costing={"budget": 10.0})
        assert not found.stages["within_budget"].any()
        assert any("budget" in warning for warning in found.warnings)


class TestWholeLife:
    def test_metered_water_and_power(self, costing: Costing) -> None:
        """By hand: 4,620 L on the peak day, 0.6 of it on 200 days; 110 W for 14.3 L/min."""
        year_l = 4620.0 * 0.6 * 200
        assert costing.running["water_m3"] == pytest.approx(year_l / 1000)
        assert costing.running["energy_kwh"] == pytest.approx(0.110 * year_l / 14.3 / 60)
        # An annuity of 1 over 20 years at 3.5 % is worth 14.2124 (tables, from memory).
        assert costing.whole_life["water"] == pytest.approx(
            14.2124 * 1.9 * year_l / 1000, rel=1e-5
        )

    def test_moving_troughs(self, costing: Costing) -> None:
        """One mob with a mobile trough, every third of 200 days, 0.3 h each."""
        assert costing.running["moving_h"] == pytest.approx(200 / 3 * 0.3)

    def test_a_tank_fed_by_nothing_pays_no_water(self, plan: Plan) -> None:
        other = plan.schemes[1].costing
        assert other is not None
        assert other.running["water_m3"] == 0.0

    def test_hauling(self, plan: Plan) -> None:
        """5 trips of an hour on the peak day; a mean day takes 0.6 of that, on 200 days."""
        labour = {"trips_day": 5.0, "hours_day": 5.0, "head_1000_l": 100.0}
        supply = replace(plan.scheme.supply, labour=labour, pump={})
        costing = costing_with(with_scheme(plan, supply=supply))
        assert costing.running["hauling_h"] == pytest.approx(5.0 * 0.6 * 200)
        assert costing.yearly.loc[1, "hauling"] == pytest.approx(600 * 18.0)

    def test_years_add_up_to_the_whole(self, plan: Plan) -> None:
        costing = costing_with(plan, costing={"tax_share": 0.2, "term_years": 33})
        assert list(costing.yearly.index) == list(range(34))
        assert costing.yearly["present_value"].sum() == pytest.approx(costing.whole_life["total"])
        fifteen = costing.items[costing.items["life_years"] == 15.0]["amount"].sum()
        ten = costing.items[costing.items["life_years"] == 10.0]["amount"].sum()
        # Year 30 renews what lasts 10, 15 and 30 years.
        thirty = costing.items[costing.items["life_years"] == 30.0]["amount"].sum()
        renewed = costing.yearly.loc[30, "replacement"]
        assert renewed == pytest.approx(1.2 * (ten + fifteen + thirty))
        assert costing.yearly.loc[33, "replacement"] == 0.0

    def test_without_interest_the_even_sum_is_the_mean(self, plan: Plan) -> None:
        life = plan_with(plan, costing={"discount_rate": 0.0}).scheme.costing.whole_life
        assert life["each_year"] == pytest.approx(life["total"] / 20)


def test_a_scheme_without_outlets_has_a_source_and_no_stages() -> None:
    """No place is flat enough for a fixed trough."""
    plan = farms.plan(
        farms.squares(1, 1, 200.0),
        lambda x, y: 200.0 + 0.6 * (x - farms.WEST) + 0.0 * y,
        siting={"steepest_degrees": 0.5},
        design={"trough": "fixed"},
    )
    costing = plan.scheme.costing
    assert costing is not None
    assert set(costing.items["work"]) == {"source", "labour"}
    assert costing.stages.empty
    assert any("no stages" in warning for warning in costing.warnings)


def test_a_bowser_is_hauled_and_its_water_paid_for() -> None:
    """80 head of 350 kg drink 3,360 L on the peak day: four trips of an hour with 1,000 L."""
    at = [farms.WEST, farms.SOUTH]
    cart = {"name": "cart", "kind": "bowser", "at": at, "crs": farms.CRS,
            "height_above_ground_m": 2.0}  # fmt: skip
    plan = farms.plan(
        farms.squares(2, 1, 200.0),
        lambda x, y: 200.0 - 0.02 * (x - farms.WEST) + 0.0 * y,
        source=[cart],
        design={"trough": "fixed"},
    )
    costing = plan.scheme.costing
    assert costing is not None
    assert costing.running["water_m3"] == pytest.approx(3.36 * 0.6 * 200)
    assert costing.running["hauling_h"] == pytest.approx(4.0 * 0.6 * 200)
    assert costing.running["moving_h"] == 0.0
