"""The equations against printed examples and against values worked out from their sources.

Rows named "worked out" were computed once, outside this project, from the equation as published.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dewpond.steps.demand.equations import (
    beef_water_l,
    cattle_water_per_dry_matter,
    effective_temperature,
    ewe_water_kg,
    feed_water_kg,
    hair_sheep_water_kg,
    lowest_effective_temperature,
)

KM_H = 1 / 3.6


def test_nasem_worked_example() -> None:
    """NASEM 2016, eq. 19-103 and 19-105, worked example (seen at second hand)."""
    index = effective_temperature(26.7, 30.0, 10 * KM_H, 12.0)
    assert index == pytest.approx(29.1, abs=0.05)
    assert beef_water_l(479.0, index) == pytest.approx(59.09, abs=0.1)


@pytest.mark.parametrize(
    ("weather", "litres"),
    [((15.0, 70.0, 10 * KM_H, 12.0), 36.64), ((30.0, 40.0, 10 * KM_H, 13.0), 62.31)],
)
def test_nasem_equation_worked_out(weather: tuple[float, ...], litres: float) -> None:
    assert beef_water_l(400.0, effective_temperature(*weather)) == pytest.approx(litres, abs=0.05)


def test_arrays_go_through() -> None:
    indices = effective_temperature(np.array([[15.0], [30.0]]), [40.0, 70.0], 2.8, 12.0)
    assert beef_water_l(400.0, indices).shape == (2, 2)


def test_turning_point_of_the_nasem_curve() -> None:
    """3.6 at 400 kg: where the derivative of eq. 19-105 by the index is nought."""
    lowest = float(lowest_effective_temperature(400.0))
    assert lowest == pytest.approx(3.58, abs=0.01)
    assert beef_water_l(400.0, lowest - 20.0) == pytest.approx(float(beef_water_l(400.0, lowest)))


@settings(deadline=None, derandomize=True, max_examples=60)
@given(
    weight=st.floats(50, 1400), index=st.floats(-30, 45), more=st.floats(0, 200),
    hotter=st.floats(0, 20),
)  # fmt: skip
def test_more_weight_or_more_heat_never_lowers_the_figure(
    weight: float, index: float, more: float, hotter: float
) -> None:
    before = float(beef_water_l(weight, index))
    assert float(beef_water_l(weight, index + hotter)) >= before - 1e-9
    at_least = max(index, float(lowest_effective_temperature(weight)))
    assert (
        float(beef_water_l(weight + more, at_least))
        >= float(beef_water_l(weight, at_least)) - 1e-9
    )


@pytest.mark.parametrize(
    ("air_temperature_c", "litres_kg"),
    [(10.0, 3.506), (21.1, 4.066), (26.7, 5.163), (32.2, 8.020)],
)
def test_winchester_and_morris_fit(air_temperature_c: float, litres_kg: float) -> None:
    """Fit to Winchester & Morris 1956 (seen at second hand), worked out."""
    assert cattle_water_per_dry_matter(air_temperature_c) == pytest.approx(litres_kg, abs=0.001)


def test_sheep_equations() -> None:
    """Forbes 1968 as used by NRC (from memory); Frontiers in Animal Science 2025; worked out."""
    assert ewe_water_kg(1.5) == pytest.approx(4.80, abs=0.005)
    assert ewe_water_kg(0.1) == 0.0
    assert hair_sheep_water_kg(1.2) == pytest.approx(3.031, abs=0.001)


def test_feed_water_by_mass_balance() -> None:
    """Total 89.43 kg on 15 kg of dry matter at 18 % leaves 21.10 kg to drink, worked out.

    NRCS Missouri, Livestock Watering Systems: forage of 80 % moisture brings 4 lb of water for
    each lb of dry matter.
    """
    assert 89.43 - feed_water_kg(15.0, 0.18) == pytest.approx(21.10, abs=0.01)
    assert feed_water_kg(25.0, 0.20) == pytest.approx(100.0)
