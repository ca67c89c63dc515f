"""Crossings of tracks and watercourses on cases worked out by hand."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from steps.corridors.pipe_ground import PRICES, box, cheapest, holding, lay, line, source

FENCE = line((0, 0), (300, 0))
ENDS = [(0, 0), (300, 0)]


def crossings(fences, sites, at=(-5, 0), **features):
    corridors = lay(holding([source(*at)], **features), fences, sites)
    return cheapest(corridors, 0, 1)


@pytest.mark.parametrize(
    ("features", "expected"),
    [
        ({"tracks": [line((100, -50), (120, 60))]}, ["track"]),
        ({"watercourses": [line((100, -50), (120, 60))]}, ["watercourse"]),
        # Drawn in two pieces that meet on the fence itself.
        ({"watercourses": [line((100, -50), (100, 0)), line((100, 0), (110, 60))]},
         ["watercourse"]),
        # A stream that bends back crosses twice.
        ({"watercourses": [line((100, -50), (100, 40), (160, 40), (160, -50))]},
         ["watercourse"] * 2),
        # Touching from one side is no crossing.
        ({"watercourses": [line((100, 50), (150, 0), (200, 50))]}, []),
        # A track that ends at the fence, as at a gateway.
        ({"tracks": [line((100, 0), (100, 80))]}, []),
        # A stream that ends a step short of the fence, as at a spring.
        ({"watercourses": [line((100, 1), (100, 80))]}, []),
        # A stream drawn along the fence, never more than 0.8 m off it, and leaving it for good.
        ({"watercourses": [line(*((x, 0.8 * (-1) ** x) for x in range(20, 250, 7)), (260, 40))]},
         []),
        # Along the fence, coming from one side and leaving to the other.
        ({"watercourses": [line((20, -60), (60, 0), (200, 0), (240, 60))]}, ["watercourse"]),
        # A river and a lane drawn as polygons.
        ({"watercourses": [box(100, -50, 112, 50)]}, ["watercourse"]),
        ({"watercourses": [box(100, 0, 112, 50)]}, []),
        ({"tracks": [line((100, -50), (100, 50))],
          "watercourses": [line((130, -50), (130, 50)), line((170, -50), (170, 50))]},
         ["track", "watercourse", "watercourse"]),
    ],
    ids=["track", "stream", "stream in two pieces", "twice", "touching", "track ends",
         "stream ends", "along", "along and across", "river", "river beside", "several"],
)  # fmt: skip
def test_crossings_of_a_straight_fence(features, expected):
    cost, length_m, found = crossings([FENCE], ENDS, **features)
    assert found == expected
    assert length_m == pytest.approx(300)
    assert cost == pytest.approx(
        300 * PRICES.along_fence_per_m
        + expected.count("track") * PRICES.track_crossing_each
        + expected.count("watercourse") * PRICES.watercourse_crossing_each
    )


@pytest.mark.parametrize("cut_at", [[], [100.0], [99.0, 100.5], [98.0, 99.5, 100.0, 101.0]])
def test_a_crossing_counts_once_however_the_fence_is_cut(cut_at):
    stops = [0.0, *cut_at, 300.0]
    fences = [line((a, 0), (b, 0)) for a, b in pairwise(stops)]
    sites = [*ENDS, *((x, 0.0) for x in cut_at)]
    features = {"watercourses": [line((100, -50), (100, 60))]}
    assert crossings(fences, sites, **features)[2] == ["watercourse"]


@pytest.mark.parametrize("turned_round", [False, True])
def test_a_way_that_follows_a_track_crosses_it_once_to_get_to_the_other_side(turned_round):
    track = [(100, -300), (100, 300)]
    fences = [line((0, 200), (100, 200)), line((100, -200), (200, -200))]
    found = crossings(
        fences, [(0, 200), (200, -200)], tracks=[line(*track[:: -1 if turned_round else 1])]
    )
    assert found[2] == ["track"]
    same_side = [line((0, 200), (100, 200)), line((0, -200), (100, -200))]
    found = crossings(same_side, [(0, 200), (0, -200)], at=(0, 205), tracks=[line(*track)])
    assert found[2] == []
    assert found[1] == pytest.approx(600)


@pytest.mark.parametrize("lane", [line((-10, 4), (310, 4)), box(-10, 0, 310, 8)],
                         ids=["centre line", "polygon"])  # fmt: skip
def test_a_lane_between_fences_is_crossed_once(lane):
    fences = [line((0, 0), (300, 0)), line((0, 8), (300, 8))]
    cost, length_m, found = crossings(fences, [(150, 0), (150, 8)], tracks=[lane])
    assert found == ["track"]
    assert length_m == pytest.approx(8, abs=0.1)
    assert cost == pytest.approx(
        8 * PRICES.open_ground_per_m + PRICES.track_crossing_each, rel=0.01
    )


def test_following_the_edge_of_a_lane_polygon_crosses_nothing():
    fences = [line((0, 0), (0, 100)), line((300, 0), (300, 100))]
    cost, _, found = crossings(fences, [(0, 50), (300, 50)], tracks=[box(-10, -8, 310, 0)])
    assert found == []
    assert cost == pytest.approx(100 * PRICES.along_fence_per_m + 300 * PRICES.along_track_per_m)


def test_existing_pipe_pays_for_no_crossing():
    features = {"tracks": [line((100, -50), (100, 60))], "existing_pipe": [FENCE]}
    assert crossings([FENCE], ENDS, **features)[0] == 0.0


def test_open_ground_pays_for_each_stream_it_crosses():
    streams = [line((x, -50), (x, 250)) for x in (70.3, 133.7)]
    farm = holding([source(0, 0)], [box(0, 0, 200, 200)], watercourses=streams)
    outline = line((0, 0), (200, 0), (200, 200), (0, 200), (0, 0))
    corridors = lay(farm, [outline], [(0, 90), (200, 110)], "open")
    assert cheapest(corridors, 0, 1)[2] == ["watercourse"] * 2
    assert np.isfinite(corridors.edges["cost"]).all()
