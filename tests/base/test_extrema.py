"""Summits and hollows: against scipy along one line, by hand on forks."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import find_peaks

from dewpond.base.extrema import hollows_of, summits_of


def _chain(count):
    return np.arange(-1, count - 1)


@pytest.mark.parametrize("random_state", range(20))
@pytest.mark.parametrize("levels", [None, 6], ids=["rough", "plateaus"])
def test_same_as_find_peaks_along_one_line(random_state, levels):
    random = np.random.default_rng(random_state)
    height = np.cumsum(random.normal(size=200))
    if levels is not None:
        height = np.round(height / np.ptp(height) * levels)
        # Each level run gets its own height: of two equal tops scipy marks both, we the first.
        run = np.cumsum(np.r_[0, np.diff(height) != 0])
        height = height + random.uniform(0, 0.1, size=run.max() + 1)[run]
    for prominence in (0.5, 1.0, 3.0):
        summits = np.flatnonzero(summits_of(_chain(200), height, prominence))
        peaks, _ = find_peaks(height, prominence=prominence)
        assert summits.tolist() == peaks.tolist()
        hollows = np.flatnonzero(hollows_of(_chain(200), height, prominence))
        # scipy marks the lower middle of a level top as well, so both agree on plateaus.
        assert hollows.tolist() == find_peaks(-height, prominence=prominence)[0].tolist()


def test_fork_on_top_of_a_hill_is_one_summit():
    # Root 0 climbs to the fork at 2; both branches fall.
    before = np.array([-1, 0, 1, 2, 3, 2, 5])
    height = np.array([0.0, 5.0, 9.0, 4.0, 1.0, 3.0, 2.0])
    assert np.flatnonzero(summits_of(before, height, 0.5)).tolist() == [2]


def test_air_that_can_leave_by_a_branch_is_no_summit():
    # One branch falls from the fork, the other climbs on to its end: no air stays at the fork.
    before = np.array([-1, 0, 1, 2, 3, 2, 5])
    height = np.array([0.0, 5.0, 9.0, 4.0, 1.0, 12.0, 15.0])
    assert not summits_of(before, height, 0.5).any()


def test_ends_and_small_bumps_are_not_marked():
    height = np.array([9.0, 5.0, 5.4, 5.0, 2.0, 8.0])
    assert not summits_of(_chain(6), height, 0.5).any()
    assert np.flatnonzero(hollows_of(_chain(6), height, 0.5)).tolist() == [4]
    assert np.flatnonzero(summits_of(_chain(6), height, 0.39)).tolist() == [2]


def test_of_equal_tops_with_a_shallow_dip_between_one_is_marked():
    height = np.array([0.0, 3.0, 2.8, 3.0, 0.0])
    assert np.flatnonzero(summits_of(_chain(5), height, 0.5)).tolist() == [1]


def test_nothing_to_mark_on_no_point_and_on_one():
    for count in (0, 1, 2):
        assert summits_of(_chain(count), np.zeros(count), 0.5).sum() == 0
