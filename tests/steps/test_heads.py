"""Static head: closed forms on simple ground, summits and hollows at known places, warnings."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dewpond.base.errors import InputError
from dewpond.base.model import Network, Proof
from dewpond.base.profile import ground_lengths_m
from dewpond.steps.heads import profile_heads
from steps.corridors.pipe_ground import CRS, SOUTH, WEST, flat, holding, line, point, source


def _network(farm, *pipes):
    """Return a network of pipes given as (from, to, line); the first node is the source."""
    places = {pipes[0][0]: pipes[0][2].coords[0]} if pipes else {"tank": (WEST, SOUTH)}
    places.update({to: way.coords[-1] for _, to, way in pipes})
    names = list(places)
    eastings, northings = np.array(list(places.values())).T
    starts = {start for start, _, _ in pipes}
    kinds = ["source"] + ["junction" if name in starts else "outlet" for name in names[1:]]
    nodes = gpd.GeoDataFrame(
        {"kind": kinds, "site": -1, "ground_level_m": farm.surface.heights_m(eastings, northings)},
        geometry=gpd.points_from_xy(eastings, northings), index=names, crs=CRS,
    )  # fmt: skip
    ways = [way for _, _, way in pipes]
    table = gpd.GeoDataFrame(
        {
            "from_node": [start for start, _, _ in pipes],
            "to_node": [end for _, end, _ in pipes],
            "length_m": ground_lengths_m(ways, farm.surface),
        },
        geometry=ways,
        index=[f"pipe {number}" for number in range(1, len(pipes) + 1)],
        crs=CRS,
    )
    return Network(0, nodes, table, (), Proof(0.0, 0.0, 0.0, "optimal"))


def _one_pipe(height, end=(1000, 0), src=None, **ground):
    farm = holding([src or source(0, 0, height_above_ground_m=2.0)], height=height, **ground)
    return farm, profile_heads(farm, _network(farm, ("tank", "outlet 1", line((0, 0), end))))


def test_static_head_on_a_plane():
    # Closed form: ground falls 0.05 m a metre, so the head grows by that from the 2 m of water.
    _, heads = _one_pipe(lambda x, y: 300 - 0.05 * x)
    assert heads.source_level_m == pytest.approx(302)
    section = heads.sections["pipe 1"]
    distance_m = np.linspace(0, 1000, section.distance_m.size) * np.hypot(1, 0.05)
    np.testing.assert_allclose(section.distance_m, distance_m)
    np.testing.assert_allclose(section.ground_level_m, 300 - 0.05 * (section.easting_m - WEST))
    assert heads.nodes["static_head_m"].tolist() == pytest.approx([2, 52])
    pipe = heads.pipes.loc["pipe 1"]
    assert pipe["static_head_m"] == pytest.approx(52)
    assert pipe["highest_static_head_m"] == pytest.approx(52)
    assert pipe["lowest_static_head_m"] == pytest.approx(2)
    assert heads.warnings == ()
    assert section.summits == section.hollows == ()


def test_summits_and_hollows_of_a_sine_ridge():
    # 10 sin(x / 50): tops at 25 pi + 100 pi k, bottoms at 75 pi + 100 pi k.
    _, heads = _one_pipe(lambda x, y: 100 + 10 * np.sin(x / 50), end=(780, 0))
    section = heads.sections["pipe 1"]
    summits = section.easting_m[list(section.summits)] - WEST
    hollows = section.easting_m[list(section.hollows)] - WEST
    np.testing.assert_allclose(summits, np.pi * np.array([25, 125, 225]), atol=5)
    np.testing.assert_allclose(hollows, np.pi * np.array([75, 175]), atol=5)
    pipe = heads.pipes.loc["pipe 1"]
    assert pipe["highest_static_head_m"] == pytest.approx(2 + 10, abs=0.06)
    assert pipe["lowest_static_head_m"] == pytest.approx(2 - 10, abs=0.06)


def test_noise_makes_no_summit():
    _, heads = _one_pipe(lambda x, y: 300 - 0.05 * x + 0.2 * np.sin(x / 8))
    assert heads.sections["pipe 1"].summits == heads.sections["pipe 1"].hollows == ()


def test_distances_run_on_from_pipe_to_pipe_and_sum_to_their_lengths():
    farm = holding([source(0, 0)], height=lambda x, y: 0.1 * x + 0.2 * y)
    network = _network(
        farm,
        ("tank", "junction 1", line((0, 0), (100, 0))),
        ("junction 1", "outlet 1", line((100, 0), (100, 80))),
        ("junction 1", "outlet 2", line((100, 0), (220, 0))),
    )
    heads = profile_heads(farm, network)
    length_m = network.pipes["length_m"]
    ends = {name: section.distance_m[[0, -1]] for name, section in heads.sections.items()}
    first = length_m["pipe 1"]
    np.testing.assert_allclose(ends["pipe 1"], [0, first])
    np.testing.assert_allclose(ends["pipe 2"], [first, first + length_m["pipe 2"]])
    np.testing.assert_allclose(ends["pipe 3"], [first, first + length_m["pipe 3"]])


def test_a_summit_at_a_fork_is_marked_once_on_the_pipe_that_leads_to_it():
    farm = holding([source(0, 0)], height=lambda x, y: 50 - 0.1 * abs(x - 200) - 0.1 * abs(y))
    network = _network(
        farm,
        ("tank", "junction 1", line((0, 0), (200, 0))),
        ("junction 1", "outlet 1", line((200, 0), (400, 0))),
        ("junction 1", "outlet 2", line((200, 0), (200, 150))),
    )
    sections = profile_heads(farm, network).sections
    assert sections["pipe 1"].summits == (sections["pipe 1"].distance_m.size - 1,)
    assert sections["pipe 2"].summits == sections["pipe 3"].summits == ()


def test_a_fork_from_which_a_branch_climbs_on_is_no_summit():
    farm = holding([source(0, 0)], height=lambda x, y: 50 - 0.1 * abs(x - 200) + 0.1 * y)
    network = _network(
        farm,
        ("tank", "junction 1", line((0, 0), (200, 0))),
        ("junction 1", "outlet 1", line((200, 0), (400, 0))),
        ("junction 1", "outlet 2", line((200, 0), (200, 150))),
    )
    sections = profile_heads(farm, network).sections
    assert all(section.summits == () for section in sections.values())


def test_level_of_a_main_is_ground_and_pressure_head():
    # 3.2 bar of water at 10 °C (999.70 kg/m³, IAPWS-95) under 9.80665 m/s² stand 32.64 m high.
    main = source(0, 0, kind="mains", static_pressure_bar=3.2, height_above_ground_m=0.5)
    _, heads = _one_pipe(lambda x, y: 100 + 0 * x, src=main)
    assert heads.source_level_m == pytest.approx(100 + 0.5 + 3.2e5 / (999.70 * 9.80665))
    assert "3.2 bar" in heads.source_level_reason
    assert heads.warnings == ()


def test_a_main_without_pressure_counts_from_the_ground_and_says_so():
    _, heads = _one_pipe(lambda x, y: 100 - 0.01 * x, src=source(0, 0, kind="mains"))
    assert heads.source_level_m == pytest.approx(100)
    assert "static_pressure_bar" in heads.warnings[0]


def test_a_given_level_is_used_and_one_far_from_the_raster_is_questioned():
    _, near = _one_pipe(lambda x, y: 100 - 0.01 * x, src=source(0, 0, level_m=101.0))
    assert near.source_level_m == 101
    assert "as given" in near.source_level_reason
    assert near.warnings == ()
    _, far = _one_pipe(lambda x, y: 100 - 0.01 * x, src=source(0, 0, level_m=131.5))
    assert "31.5 m from the elevation raster" in far.warnings[0]


def test_ground_above_the_source_is_named_with_the_height_missing():
    _, heads = _one_pipe(lambda x, y: 100 + 20 * np.exp(-(((x - 400) / 100) ** 2)))
    (told,) = heads.warnings
    assert "by 18.0 m at worst, on pipe 1" in told
    assert heads.pipes["lowest_static_head_m"].iloc[0] == pytest.approx(-18, abs=0.05)


def test_many_pipes_above_the_source_make_one_warning_that_names_the_worst():
    farm = holding([source(0, 0, height_above_ground_m=2.0)], height=lambda x, y: 100 + 0.1 * x)
    network = _network(
        farm,
        ("tank", "junction 1", line((0, 0), (10, 0))),
        ("junction 1", "outlet 1", line((10, 0), (100, 0))),
        ("junction 1", "outlet 2", line((10, 0), (220, 0))),
    )
    (told,) = profile_heads(farm, network).warnings
    # Closed form: the still water stands at 102 m, the ground at x = 220 m at 122 m.
    assert told.startswith("2 of 3 pipes run over ground above the still water")
    assert "by 20.0 m at worst, on pipe 3" in told


def test_coarse_heights_need_a_greater_rise_to_make_a_summit():
    # Waves of 0.8 m from hollow to top, 130 m long: told at 5 m posting, noise at 30 m.
    def waves(x, y):
        return 100 + 0.4 * np.sin(x / 20.69)

    _, fine = _one_pipe(waves, posting_m=5.0)
    _, coarse = _one_pipe(waves, posting_m=30.0)
    assert len(fine.sections["pipe 1"].summits) > 5
    assert coarse.sections["pipe 1"].summits == ()


def test_a_source_off_the_raster_without_level_is_refused():
    with pytest.raises(InputError, match="level_m"):
        _one_pipe(lambda x, y: np.where(x < 10, np.nan, 100 - 0.01 * x))
    known = source(0, 0, level_m=100.0)
    _, heads = _one_pipe(lambda x, y: np.where(x < 10, np.nan, 100 - 0.01 * x), src=known)
    assert heads.source_level_m == 100
    assert any("no height" in text for text in heads.warnings)
    assert np.isfinite(heads.pipes.to_numpy()).all()


def test_no_pipe_makes_no_section():
    farm = holding([source(0, 0, height_above_ground_m=2.0)], height=flat)
    heads = profile_heads(farm, _network(farm))
    assert heads.sections == {}
    assert len(heads.pipes) == 0
    assert heads.nodes["static_head_m"].tolist() == [2.0]


@given(raised_m=st.floats(-400, 4000), tilt=st.floats(-0.3, 0.3), wave=st.floats(0, 15))
@settings(deadline=None, derandomize=True, max_examples=12)
def test_raising_the_whole_ground_changes_no_static_head(raised_m, tilt, wave):
    def height(x, y):
        return 200 + tilt * x + wave * np.sin(x / 70)

    _, low = _one_pipe(height, posting_m=20.0)
    _, high = _one_pipe(lambda x, y: height(x, y) + raised_m, posting_m=20.0)
    assert high.source_level_m - low.source_level_m == pytest.approx(raised_m)
    np.testing.assert_allclose(high.pipes, low.pipes, atol=1e-6)
    np.testing.assert_allclose(high.nodes["static_head_m"], low.nodes["static_head_m"], atol=1e-6)
    one, other = (heads.sections["pipe 1"] for heads in (low, high))
    assert one.summits == other.summits
    assert one.hollows == other.hollows


def test_points_are_relative_to_the_corner():
    assert point(3, 4).coords[0] == (WEST + 3, SOUTH + 4)
