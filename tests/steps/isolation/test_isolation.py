"""Stop valves, meter and drains: where they stand, who goes dry, and what is said of frost."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from dewpond.base.model import Demand
from dewpond.base.settings import DesignSettings, SupplySettings
from dewpond.steps.heads import profile_heads
from dewpond.steps.isolation import place_isolation
from steps.corridors.pipe_ground import box, surface
from steps.schemes import make_scheme

# Source, fork, an outlet each side; the second side runs on to a third outlet.
WAYS = [
    ("tank", "junction 1", [(0, 0), (300, 0)]),
    ("junction 1", "outlet 1", [(300, 0), (300, 200)]),
    ("junction 1", "outlet 2", [(300, 0), (600, 0)]),
    ("outlet 2", "outlet 3", [(600, 0), (900, 0)]),
]
USES = [
    ("cows", "outlet 1", 0, 8.0),
    ("cows", "outlet 2", 1, 8.0),
    ("cows", "outlet 3", 1, 8.0),
    ("ewes", "outlet 3", 2, 4.0),
]
PADDOCKS = [box(0, 10, 200, 110), box(300, 10, 500, 160), box(600, 10, 700, 110)]  # 2, 3, 1 ha


def isolation(height=lambda x, y: 0.0 * x, kind="header_tank", laying="surface", **supply):
    scheme = make_scheme(WAYS, USES, height, paddocks=PADDOCKS, kind=kind)
    demand = Demand(
        pd.DataFrame({"daily_demand_l": [3000.0, 1000.0]}, index=["cows", "ewes"]), pd.DataFrame()
    )
    return place_isolation(
        scheme.farm, demand, scheme.network, scheme.heads, scheme.watering,
        SupplySettings(**supply), DesignSettings(laying=laying),
    )  # fmt: skip


def test_a_valve_and_a_meter_at_the_source_and_a_valve_each_side_of_a_fork():
    fittings = isolation().fittings
    valves = fittings[fittings["kind"] == "stop valve"]
    assert valves["pipe"].tolist() == ["pipe 1", "pipe 2", "pipe 3"]
    assert (valves["distance_m"] == 0).all()
    assert valves["easting_m"].tolist() == [400_000, 400_300, 400_300]
    assert fittings.loc["meter 1", ["pipe", "distance_m"]].tolist() == ["pipe 1", 0]
    assert (fittings["kind"] == "meter").sum() == 1
    assert (fittings["kind"] == "drain").sum() == 0  # level ground: nothing gathers


def test_share_left_dry_is_by_area_and_litres():
    sections = isolation().sections
    assert sections["outlets_shut"].tolist() == [
        ("outlet 1", "outlet 2", "outlet 3"),
        ("outlet 1",),
        ("outlet 2", "outlet 3"),
    ]
    # Cows (3,000 L) graze 2 ha by outlet 1 and 3 ha by 2 and 3; ewes (1,000 L) drink at 3 alone.
    expected = [1.0, 3000 * 2 / 5 / 4000, (3000 * 3 / 5 + 1000) / 4000]
    np.testing.assert_allclose(sections["dry_share"], expected)


def test_another_outlet_in_the_paddock_keeps_stock_from_going_dry():
    scheme = make_scheme(WAYS, [("cows", "outlet 1", 0, 8.0), ("cows", "outlet 2", 0, 8.0)],
                         paddocks=PADDOCKS)  # fmt: skip
    demand = Demand(pd.DataFrame({"daily_demand_l": [3000.0]}, index=["cows"]), pd.DataFrame())
    sections = place_isolation(
        scheme.farm, demand, scheme.network, scheme.heads, scheme.watering, SupplySettings(),
        DesignSettings(),
    ).sections  # fmt: skip
    assert sections["dry_share"].tolist() == [1.0, 0.0, 0.0]


def test_drains_in_hollows_and_at_low_ends():
    def height(x, y):
        # A hollow 6 m deep at 150 m, then down to the end of pipe 4; pipe 2 climbs.
        return (
            100 - 6 * np.exp(-(((x - 150) / 40) ** 2)) - 0.02 * np.maximum(x - 600, 0) + 0.05 * y
        )

    fittings = isolation(height).fittings
    drains = fittings[fittings["kind"] == "drain"]
    assert drains["pipe"].tolist() == ["pipe 1", "pipe 4"]
    assert drains["easting_m"].iloc[0] == pytest.approx(400_150, abs=5)
    assert drains["easting_m"].iloc[1] == pytest.approx(400_900)
    assert "falls to its end at outlet 3" in drains["reason"].iloc[1]


def test_pipe_that_climbs_from_the_source_drains_back_to_it():
    fittings = isolation(lambda x, y: 100 + 0.03 * x + 0.03 * y).fittings
    drains = fittings[fittings["kind"] == "drain"]
    assert drains[["pipe", "distance_m"]].to_numpy().tolist() == [["pipe 1", 0.0]]


@pytest.mark.parametrize(("posting_m", "drains"), [(5.0, 1), (50.0, 0)])
def test_a_fall_within_the_noise_of_coarse_heights_needs_no_drain(posting_m, drains):
    # One metre down to the source: plain at 5 m, within the 2 m that 50 m data may be out.
    heights = surface(lambda x, y: 100 + np.clip(x, 0, 100) / 100 + 0.0 * y, posting_m)
    scheme = make_scheme(
        WAYS, USES, lambda x, y: 100 + np.clip(x, 0, 100) / 100, paddocks=PADDOCKS
    )
    farm = replace(scheme.farm, surface=heights)
    heads = profile_heads(farm, scheme.network)
    demand = Demand(
        pd.DataFrame({"daily_demand_l": [3000.0, 1000.0]}, index=["cows", "ewes"]), pd.DataFrame()
    )
    fittings = place_isolation(
        farm, demand, scheme.network, heads, scheme.watering, SupplySettings(), DesignSettings()
    ).fittings
    assert (fittings["kind"] == "drain").sum() == drains


@pytest.mark.parametrize(
    ("laying", "winter", "says"),
    [
        ("surface", False, "before the first frost"),
        ("surface", True, "bury it under at least 750 mm"),
        ("buried", False, "Not used in winter"),
        ("buried", True, "below frost"),
    ],
)
def test_frost_is_spoken_of(laying, winter, says):
    notes = isolation(laying=laying, used_in_winter=winter).notes
    assert says in notes[0]


def test_cover_of_a_main_defers_to_the_undertaker():
    deep = isolation(kind="mains", laying="buried", frost_depth_mm=1500.0).notes[1]
    assert "1350 mm needs the water undertaker's consent, which is the case here" in deep
    assert "Local code and the water undertaker decide" in deep
    plain = isolation(kind="mains", laying="buried").notes[1]
    assert "which is the case here" not in plain
    spring = isolation(kind="spring", laying="buried").notes[1]
    assert "undertaker's consent" not in spring


def test_a_scheme_without_pipe_has_nothing_to_shut():
    scheme = make_scheme([], [])
    result = place_isolation(
        scheme.farm, Demand(pd.DataFrame(), pd.DataFrame()), scheme.network, scheme.heads,
        scheme.watering, SupplySettings(), DesignSettings(),
    )  # fmt: skip
    assert result.fittings.empty
    assert result.sections.empty
