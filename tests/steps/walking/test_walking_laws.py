"""Laws that hold for every paddock."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from random_paddocks import on_fence, random_paddock
from shapely import affinity
from walking_fields import points, walk, walks_of

numbers = st.integers(min_value=0, max_value=400)
shares = st.floats(min_value=0.0, max_value=0.999)
modest = settings(deadline=None, derandomize=True, max_examples=6)


@modest
@given(numbers, shares, shares)
def test_triangle_inequality(number: int, first: float, second: float) -> None:
    paddock = random_paddock(number)
    one, two = on_fence(paddock, first), on_fence(paddock, second)
    reach = walk([paddock], [(0, 0, *one), (1, 0, *two)], cell_m=10.0)
    from_one, from_two = walks_of(reach, 0), walks_of(reach, 1)
    between = (from_one + from_two).min()
    assert np.isfinite(from_one).all()
    assert (np.abs(from_one - from_two) <= between + 0.02).all()
    straight = np.hypot(*(points(reach) - one).T)
    assert (from_one >= straight - 0.01).all()


@modest
@given(numbers, shares, st.integers(-40, 40), st.integers(-40, 40))
def test_shifting_by_whole_cells_changes_nothing(
    number: int, share: float, east: int, north: int
) -> None:
    paddock, cell_m = random_paddock(number), 8.0
    here = walk([paddock], [(0, 0, *on_fence(paddock, share))], cell_m=cell_m)
    moved = affinity.translate(paddock, east * cell_m, north * cell_m)
    there = walk([moved], [(0, 0, *on_fence(moved, share))], cell_m=cell_m)
    assert len(there.cells) == len(here.cells)
    assert walks_of(there) == pytest.approx(walks_of(here), abs=0.02)


@modest
@given(numbers, shares)
def test_turning_by_a_right_angle_changes_nothing(number: int, share: float) -> None:
    paddock, cell_m = random_paddock(number), 8.0
    here = walk([paddock], [(0, 0, *on_fence(paddock, share))], cell_m=cell_m)
    turned = shapely.transform(paddock, lambda xy: np.column_stack([-xy[:, 1], xy[:, 0]]))
    there = walk([turned], [(0, 0, *on_fence(turned, share))], cell_m=cell_m)
    centred = [_centred(reach) for reach in (here, there)]
    expected = {(-y, x): d for (x, y), d in centred[0].items()}
    assert expected.keys() == centred[1].keys()
    found = np.array([centred[1][key] for key in expected])
    assert found == pytest.approx(np.array(list(expected.values())), abs=0.02)


@modest
@given(numbers, shares, st.floats(20, 400))
def test_a_longer_limit_only_adds_cells(number: int, share: float, limit_m: float) -> None:
    paddock = random_paddock(number)
    site = [(0, 0, *on_fence(paddock, share))]
    short = walk([paddock], site, cell_m=8.0, limit_m=limit_m)
    long = walks_of(walk([paddock], site, cell_m=8.0))
    within = long <= limit_m - 0.01
    assert walks_of(short)[within] == pytest.approx(long[within], abs=0.01)
    assert np.isinf(walks_of(short)[long > limit_m + 0.01]).all()


def _centred(reach: object) -> dict[tuple[float, float], float]:
    """Walks by cell centre; points that stand for clipped pieces are left out."""
    at = points(reach)
    centre = np.all(np.mod(at, 8.0) == 4.0, axis=1)
    return {
        (float(x), float(y)): float(d)
        for (x, y), d in zip(at[centre], walks_of(reach)[centre], strict=True)
    }
