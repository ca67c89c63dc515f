"""Settings of how sure a plan is: ranges, and what is left out where a project is one of many."""

from __future__ import annotations

from typing import Any

import pytest

from dewpond.base.errors import InputError
from dewpond.base.settings import Project, project_from_dict, without_confidence


def project(**confidence: Any) -> Project:
    return project_from_dict({
        "holding": {"name": "test"},
        "mob": [{"name": "cows", "species": "cattle", "head": 20, "weight_kg": 600.0}],
        "source": [{"name": "tank", "kind": "header_tank", "at": [-2.1, 54.0]}],
        "confidence": confidence,
    })  # fmt: skip


@pytest.mark.parametrize(
    ("table", "named"),
    [
        ({"hot_day_factors": [1.2, 0.8]}, "hot_day_factors"),
        ({"friction_factors": [0.0, 1.2]}, "friction_factors"),
        ({"dry_summer_factors": [-0.5, 1.0]}, "dry_summer_factors"),
        ({"source_level_changes_m": [0.5, -0.5]}, "source_level_changes_m"),
        ({"wanted": 1.0}, "wanted"),
        ({"wanted": 0.4}, "wanted"),
        ({"simulations": 10}, "simulations"),
        ({"head_count_factors": [1.0]}, "head_count_factors"),
    ],
)
def test_a_range_upside_down_or_out_of_bounds_is_refused(table: dict, named: str) -> None:
    with pytest.raises(InputError, match=named):
        project(**table)


def test_a_level_may_fall_and_a_range_may_be_one_value() -> None:
    found = project(source_level_changes_m=[-2.0, -1.0], hot_day_factors=[1.0, 1.0]).confidence
    assert found.source_level_changes_m == (-2.0, -1.0)
    assert found.hot_day_factors == (1.0, 1.0)


@pytest.mark.parametrize(("asked", "left"), [(None, False), (True, True), (False, False)])
def test_one_of_many_is_assessed_only_where_it_was_asked_for(asked: Any, left: bool) -> None:
    given = project() if asked is None else project(assess=asked)
    assert without_confidence(given).confidence.assess is left
    assert given.confidence.assess is asked
