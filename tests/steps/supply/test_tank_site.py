"""A place for a tank on ground of known shape."""

from __future__ import annotations

import pytest

from dewpond.base.settings import SupplySettings
from dewpond.steps.supply.tank_site import find_tank_site
from steps.supply.supply_farm import WEST, farm

TANK = {"name": "tank", "kind": "header_tank"}


def test_the_nearest_high_ground_on_an_even_hill() -> None:
    """Ground 100 m + 5 % eastward, pipe to 600 m. Water 1.5 m up must stand 2 m over 140 m.

    From 600 m on, 1 m in 100 m is allowed for pipe: 101.5 + x/20 - (x - 600)/100 = 142 gives
    x = 862.5 m, ground 143.1 m.
    """
    hill = farm(TANK, slope=0.05)
    site, lacking = find_tank_site(hill.holding, hill.network, 140.0, SupplySettings())
    assert lacking == 0.0
    assert site is not None
    assert site.easting_m - WEST == pytest.approx(862.5, abs=10.0)
    assert site.ground_level_m == pytest.approx(100.0 + 0.05 * (site.easting_m - WEST), abs=1e-6)
    assert site.water_level_m == pytest.approx(site.ground_level_m + 1.5)
    assert site.distance_m == pytest.approx(site.easting_m - WEST - 600.0, abs=6.0)
    assert site.paddock == ""


def test_a_place_in_a_paddock_says_so() -> None:
    hill = farm(TANK, slope=0.05)
    site, _ = find_tank_site(hill.holding, hill.network, 110.0, SupplySettings())
    assert site is not None
    assert site.paddock == "Low"


def test_no_ground_is_high_enough() -> None:
    """At 1,100 m the search ends, 155 m + 1.5 m less 5 m of allowance: 50.5 m under 202 m."""
    hill = farm(TANK, slope=0.05)
    site, lacking = find_tank_site(hill.holding, hill.network, 200.0, SupplySettings())
    assert site is None
    assert lacking == pytest.approx(50.5, abs=0.6)


def test_no_known_ground_is_told_apart() -> None:
    hill = farm(TANK, slope=0.05)
    far = SupplySettings(tank_search_m=0.0)
    site, lacking = find_tank_site(hill.holding, hill.network, 10.0, far)
    assert site is not None
    assert lacking == 0.0
