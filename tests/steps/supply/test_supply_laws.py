"""More water never makes a judgement worse."""

from __future__ import annotations

from typing import Any

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from steps.supply.supply_farm import farm

NEAR = {"tank_search_m": 30.0}  # the search for a place is not what is tested here
KINDS: list[dict[str, Any]] = [
    {"name": "s", "kind": "spring"},
    {"name": "s", "kind": "spring", "tank_volume_l": 3000.0},
    {"name": "s", "kind": "borehole", "pump": {"water_level_below_m": 20.0}},
    {"name": "s", "kind": "surface_water", "pump": {"power": "solar"}},
    {"name": "s", "kind": "header_tank", "tank_volume_l": 3000.0},
    {"name": "s", "kind": "mains", "static_pressure_bar": 2.0},
]


@settings(deadline=None, derandomize=True, max_examples=36)
@given(
    st.sampled_from(KINDS),
    st.floats(0.5, 20.0),
    st.floats(1.0, 4.0),
    st.sampled_from([-0.05, 0.0, 0.03]),
)
def test_more_yield_never_makes_a_judgement_worse(
    kind: dict[str, Any], flow: float, more: float, slope: float
) -> None:
    def judged(litres_a_minute: float) -> dict[str, bool]:
        given_as = {"yield_l_min": litres_a_minute}
        if kind["kind"] == "mains":
            given_as = {"bucket_l": litres_a_minute, "bucket_s": 60.0}
        supply = farm({**kind, **given_as}, slope=slope, supply=NEAR).judge(friction_m=1.0)
        return {item.requirement: item.met for item in supply.judgements}

    less, plenty = judged(flow), judged(flow * more)
    assert less.keys() == plenty.keys()
    assert all(plenty[requirement] or not met for requirement, met in less.items())


@settings(deadline=None, derandomize=True, max_examples=15)
@given(st.floats(0.5, 8.0))
def test_the_stock_it_is_said_to_water_it_does_water(flow: float) -> None:
    """Planned again with the head of the remedy, no judgement of water fails."""
    spring = {"name": "s", "kind": "spring", "yield_l_min": flow}
    remedies = farm(spring, slope=-0.05, supply=NEAR).judge().remedies
    kept = [item for item in remedies if "fewer head" in item.action]
    for item in kept:
        again = farm(spring, slope=-0.05, head=int(item.figure), supply=NEAR).judge()
        assert item.works == again.met
        if item.figure < 40:
            assert (
                not farm(spring, slope=-0.05, head=int(item.figure) + 1, supply=NEAR).judge().met
            )
    assert kept or flow >= 2400.0 / 420.0 or np.floor(flow * 420.0 / 60.0) == 0
