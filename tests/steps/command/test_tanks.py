"""Places for a tank: the front equals an exhaustive loop, the tree that of networkx."""

from __future__ import annotations

import networkx as nx
import numpy as np
import pyproj
import pytest
from affine import Affine
from command_farm import at, find, level_ground

import farms
from dewpond.base.surface import Grid
from dewpond.steps.command.paddocks import ranked
from dewpond.steps.command.tanks import TankSearch, search_tanks, tree_lengths_m
from dewpond.steps.command.ways import Grade, follow_ways
from dewpond.steps.command.window import centres_of

CELL = 20.0


def search_on(heights: np.ndarray, share: float, margin_m: float = 1.0) -> TankSearch:
    """Two paddocks in the south of a small grid; a tank may stand anywhere on it."""
    rows, columns = heights.shape
    ground = Grid(heights, Affine(CELL, 0, 0, 0, -CELL, rows * CELL), pyproj.CRS(27700))
    centres = centres_of(ground)
    row, column = np.divmod(np.arange(rows * columns), columns)
    first = np.flatnonzero((row >= rows - 5) & (column < columns // 2))
    second = np.flatnonzero((row >= rows - 5) & (column >= columns // 2))
    targets = np.concatenate([first, second])
    return TankSearch(
        ground, centres, heights.ravel() + 1.5, centres[targets], heights.ravel()[targets],
        np.repeat([0, 1], [first.size, second.size]),
        np.array([centres[first].mean(axis=0), centres[second].mean(axis=0)]),
        Grade(0.01, 0.1, 1.5, 2.0, 1.0), margin_m, share,
    )  # fmt: skip


def rough(random_state: int) -> np.ndarray:
    random = np.random.default_rng(random_state)
    y, x = np.mgrid[0:16, 0:18]
    ridge = 14 * np.exp(-((y - 5 - 2 * np.sin(x / 3)) ** 2) / 6)
    return 100 + ridge + 6 * np.sin(x / 4 + random_state) + random.normal(0, 0.7, x.shape)


def exhaustive(search: TankSearch) -> list[int]:
    """Every place against every target, none left out, then the front by definition."""
    tree = tree_lengths_m(search.places, search.centres).round(3)
    level = search.place_level_m.round(3)
    serves = []
    count = len(search.targets)
    for place in range(len(search.places)):
        level_m = np.full(count, search.place_level_m[place])
        start = np.broadcast_to(search.places[place], (count, 2))
        ways = follow_ways(search.ground, start, search.targets, level_m, level_m, search.grade)
        good = ways.spare_m >= search.margin_m
        shares = [good[search.owner == paddock].mean() for paddock in (0, 1)]
        if min(shares) >= search.share - 1e-9:
            serves.append(place)
    return [
        one
        for one in serves
        if not any(
            (level[two], tree[two]) != (level[one], tree[one])
            and level[two] <= level[one]
            and tree[two] <= tree[one]
            for two in serves
        )
    ]


@pytest.mark.parametrize(("random_state", "share"), [(1, 1.0), (2, 0.9), (3, 0.7), (5, 0.9)])
def test_front_equals_an_exhaustive_loop(random_state: int, share: float) -> None:
    search = search_on(rough(random_state), share)
    found = search_tanks(search)
    assert sorted(found.place.tolist()) == sorted(exhaustive(search))
    assert len(found.place) > 0
    assert (np.diff(search.place_level_m[found.place]) > 0).all(), "lowest first"
    assert (np.diff(found.pipe_m) < 0).all()


def test_tree_is_that_of_networkx() -> None:
    random = np.random.default_rng(4)
    places, points = random.uniform(0, 500, (6, 2)), random.uniform(0, 500, (7, 2))
    found = tree_lengths_m(places, points)
    for place, length in zip(places, found, strict=True):
        graph = nx.Graph()
        spots = [place, *points]
        for i, one in enumerate(spots):
            for j in range(i):
                graph.add_edge(i, j, weight=float(np.hypot(*(one - spots[j]))))
        tree = nx.minimum_spanning_tree(graph)
        assert length == pytest.approx(tree.size(weight="weight"))


def test_none_is_high_enough_and_by_how_much() -> None:
    """Level ground: the water is 1.5 m up, 2 m of head, 1 m to spare and friction are wanted."""
    search = search_on(np.full((16, 18), 100.0), 1.0)
    found = search_tanks(search)
    assert found.place.size == 0
    assert 1.5 + 0.1 < found.lacking_m < 1.5 + 0.1 + 0.01 * 1.5 * 360


def test_ranked_counts_what_is_not_known_as_worst() -> None:
    values = np.array([[5.0, np.nan, 3.0, 4.0]])
    assert ranked(values, 0.75)[0] == 3.0
    assert np.isnan(ranked(values, 1.0)[0])


class TestOnAHolding:
    """A hill beside two fields: the tank goes on its flank, no higher than it must."""

    fields = farms.squares(2, 1, 200.0)

    @staticmethod
    def hill(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        north = y - farms.SOUTH
        return 100.0 + 0.1 * np.maximum(0.0, north - 200.0) + 0.0 * x

    def test_level_is_what_head_friction_and_margin_come_to(self) -> None:
        area = find(
            self.fields, self.hill, {"tank_sites": 4, "share_wanted": 1.0}, source=[at(0, 0)],
            supply={"tank_search_m": 90.0}, terrain={"height_standard_deviation_m": 0.3},
        )  # fmt: skip
        tanks, case = area.ground.tanks, area.ground.case
        assert len(tanks) >= 1
        lowest = tanks[tanks["lowest"]].iloc[0]
        least = 100.0 + 3.0 + 2.0 + case.fittings_loss_m
        friction = case.loss_per_m * lowest["farthest_m"]
        # On a slope of 1 in 10 neighbouring cells of 5 m differ by half a metre.
        assert least + 0.9 * friction < lowest["water_level_m"] < least + friction + 0.6
        assert lowest["water_level_m"] == pytest.approx(lowest["ground_level_m"] + 1.5)
        assert lowest["paddock"] == ""
        assert 0.5 < lowest["chance"] <= 1.0

    def test_sources_that_stand_on_a_site_command_the_fields(self) -> None:
        """The answer fed back: a tank built on the site found serves what was asked."""
        asked = {"tank_sites": 1, "share_wanted": 1.0}
        first = find(self.fields, self.hill, asked, source=[at(0, 0)])
        site = first.ground.tanks.iloc[0]
        tank = at(
            site["easting_m"] - farms.WEST, site["northing_m"] - farms.SOUTH,
            height_above_ground_m=1.5,
        )  # fmt: skip
        built = find(self.fields, self.hill, {"share_wanted": 1.0}, source=[tank])
        assert built.met
        assert built.ground.paddocks["spare_m"].min() == pytest.approx(site["spare_m"], abs=0.1)

    def test_no_place_is_told(self) -> None:
        area = find(self.fields, level_ground, {"tank_sites": 2}, source=[at(0, 0)])
        assert area.ground.tanks.empty
        assert any("too low" in line for line in area.warnings)

    def test_keep_outs_are_kept_clear(self, tmp_path) -> None:
        import geopandas as gpd
        import shapely

        wood = shapely.box(farms.WEST - 90, farms.SOUTH + 205, farms.WEST + 490, farms.SOUTH + 270)
        gpd.GeoDataFrame(geometry=[wood], crs=farms.CRS).to_file(tmp_path / "wood.geojson")
        area = find(
            self.fields, self.hill, {"tank_sites": 9}, source=[at(0, 0)],
            features={"keep_out": str(tmp_path / "wood.geojson")},
        )  # fmt: skip
        tanks = area.ground.tanks
        assert len(tanks)
        inside = shapely.contains_xy(wood, tanks["easting_m"], tanks["northing_m"])
        assert not inside.any()


@pytest.mark.parametrize("random_state", [2, 5, 7])
def test_others_are_the_lowest_well_apart(random_state: int) -> None:
    """Against the definition over every place: serves, 100 m from all before, lowest first."""
    search = search_on(rough(random_state), 0.8)
    front = search_tanks(search)
    more = search_tanks(search, others=3)
    np.testing.assert_array_equal(more.place[: more.front], front.place)
    tree = tree_lengths_m(search.places, search.centres).round(3)
    level = search.place_level_m.round(3)
    serving = [place for place in range(len(tree)) if search_serves(search, place)]
    serving.sort(key=lambda place: (level[place], tree[place], place))
    found = front.place.tolist()
    for place in serving:
        apart = np.hypot(*(search.places[place] - search.places[found]).T).min()
        if apart >= 100.0 and len(found) < front.place.size + 3:
            found.append(place)
    assert more.place.tolist() == found
    assert len(found) > front.place.size


def search_serves(search: TankSearch, place: int) -> bool:
    count = len(search.targets)
    level = np.full(count, search.place_level_m[place])
    start = np.broadcast_to(search.places[place], (count, 2))
    ways = follow_ways(search.ground, start, search.targets, level, level, search.grade)
    good = ways.spare_m >= search.margin_m
    return min(good[search.owner == paddock].mean() for paddock in (0, 1)) >= search.share - 1e-9
