"""The whole run: laws that hold on any holding, and checks of real ground made without it.

Walks and heads are checked from the raster with rasterio and from the shapes with shapely and
networkx, never through the package.
"""

from __future__ import annotations

import json
from pathlib import Path

import geopandas as gpd
import matplotlib.cbook
import numpy as np
import pyproj
import pytest
import rasterio
from affine import Affine
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.affinity import translate
from shapely.geometry import Polygon, box

from dewpond import Plan, load_project, plan_holding, project_from_dict, write_plan
from farms import CRS, SOUTH, WEST, plan, project, raster, squares, table, turned
from reference import shortest_way_m

WALK_TOLERANCE = 0.015  # what the walking grid may err, from the design


def flat(x: np.ndarray, _: np.ndarray) -> np.ndarray:
    return np.full_like(x, 200.0)


def hill(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Stand for a round hill of 40 m with a gentle side slope."""
    east, north = (x - WEST) / 600.0, (y - SOUTH) / 600.0
    return 150.0 + 40.0 * np.exp(-((east - 0.5) ** 2) - (north - 0.4) ** 2) + 10.0 * east


FIELDS = squares(3, 2, 200.0)
LIMITS = {"design": {"walk_limit_m": 150.0}, "layout": {"optimality_gap": 0.0}}


@pytest.fixture(scope="module")
def sample(sample_project: Path) -> Plan:
    return plan_holding(load_project(sample_project))


def lancashire(folder: Path) -> Plan:
    place = folder / "lancashire_uk_farm"
    return plan_holding(
        project_from_dict(
            {
                "holding": {"name": "54 fields", "crs": "EPSG:27700"},
                "terrain": {"elevation": "SD84.asc", "height_unit": "metre"},
                "paddocks": {"boundaries": "fields_54_wgs84.geojson", "name_field": "PARCEL_ID"},
                "mob": [
                    {"name": "ewes", "species": "sheep", "head": 400, "weight_kg": 70.0,
                     "lactating": True},
                ],
                "source": [{"name": "tank", "kind": "header_tank", "at": centre(place),
                            "height_above_ground_m": 1.0}],
            },
            folder=place,
        )
    )  # fmt: skip


def centre(place: Path) -> list[float]:
    fields = gpd.read_file(place / "fields_54_wgs84.geojson")
    point = fields.geometry.iloc[0].representative_point()
    return [point.x, point.y]


def new_south_wales(folder: Path) -> Plan:
    place = folder / "nsw_au_paddocks_translated"
    fields = gpd.read_file(place / "paddocks_translated_epsg6933.gpkg")
    names = [f"paddock {number}" for number in range(1, len(fields) + 1)]
    fields = fields.assign(name=names)[["name", "geometry"]]
    point = fields.to_crs(28355).geometry.iloc[0].representative_point()
    raw = {
        "holding": {"name": "18 paddocks"},
        "terrain": {"height_unit": "metre"},
        "mob": [{"name": "stores", "species": "cattle", "head": 150, "weight_kg": 350.0}],
        "source": [
            {"name": "tank", "kind": "header_tank", "at": [point.x, point.y],
             "crs": "EPSG:28355", "height_above_ground_m": 2.0},
        ],
    }  # fmt: skip
    with rasterio.open(place / "dem_h_10m_epsg28355.tif") as data:
        return plan_holding(project_from_dict(raw), paddocks=fields, elevation=data)


def test_a_plan_sized_for_the_wanted_chance_has_it_at_every_outlet() -> None:
    tables = {
        "terrain": {"height_standard_deviation_m": 3.0, "correlation_length_m": 120.0},
        "design": {"walk_limit_m": 150.0, "laying": "buried"},
        "layout": {"optimality_gap": 0.0},
        "source": [{"name": "tank", "kind": "header_tank", "at": [WEST, SOUTH], "crs": CRS,
                    "height_above_ground_m": 40.0}],
    }  # fmt: skip
    guess = plan(FIELDS, hill, **tables)
    safer = plan(FIELDS, hill, **tables, confidence={"size_for": "wanted chance"})
    assert guess.confidence is not None
    assert safer.confidence is not None
    assert guess.confidence.outlets["chance"].min() < 0.9
    assert guess.confidence.design["built"] == 0.0
    assert safer.confidence.outlets["chance"].min() >= 0.9
    assert safer.confidence.design["built"] == 1.0
    # Laid, delivered and paid for with those sizes, not only told.
    extra = safer.totals["pipe_cost"] - guess.totals["pipe_cost"]
    assert extra == pytest.approx(guess.confidence.design["extra_cost"])
    assert extra > 0.0
    assert safer.totals["laying_cost"] == guess.totals["laying_cost"]
    wider = safer.scheme.sizes.pipes["outside_diameter_mm"]
    assert (wider >= guess.scheme.sizes.pipes["outside_diameter_mm"]).any()
    flow = "available_flow_l_min"
    assert (
        safer.scheme.delivery.outlets[flow] >= guess.scheme.delivery.outlets[flow] - 1e-6
    ).all()
    assert safer.scheme.costing is not None
    assert guess.scheme.costing is not None
    assert safer.scheme.costing.totals["gross"] > guess.scheme.costing.totals["gross"]


class Heights:
    """Bilinear heights straight from a raster file, worked out here by hand."""

    def __init__(self, path: Path, crs: pyproj.CRS) -> None:
        with rasterio.open(path) as data:
            self.values = data.read(1).astype(float)
            self.inverse = ~data.transform
            target = data.crs.to_wkt()
        self.move = pyproj.Transformer.from_crs(crs, target, always_xy=True)

    def __call__(self, easting: np.ndarray, northing: np.ndarray) -> np.ndarray:
        x, y = self.move.transform(easting, northing)
        column, row = self.inverse * (np.asarray(x), np.asarray(y))
        column, row = column - 0.5, row - 0.5
        left, top = np.floor(column).astype(int), np.floor(row).astype(int)
        across, down = column - left, row - top
        upper = self.values[top, left] * (1 - across) + self.values[top, left + 1] * across
        lower = self.values[top + 1, left] * (1 - across) + self.values[top + 1, left + 1] * across
        return upper * (1 - down) + lower * down


def check_static_heads(result: Plan, elevation: Path) -> None:
    """Static head at each outlet equals the source's level less the height in the file."""
    source = result.holding.sources[result.network.source]
    height_m = Heights(elevation, result.holding.crs)
    pressure_m = (source.settings.static_pressure_bar or 0.0) * 1e5 / (999.70 * 9.80665)
    level = (
        height_m(source.easting_m, source.northing_m)
        + (source.settings.height_above_ground_m or 0.0)
        + pressure_m
    )
    outlets = result.network.nodes[result.network.nodes["kind"] == "outlet"]
    assert len(outlets) > 0
    for name, point in outlets.geometry.items():
        expected = level - height_m(point.x, point.y)
        assert result.heads.nodes.at[name, "static_head_m"] == pytest.approx(expected, abs=0.02)
    for name, section in result.heads.sections.items():
        heads = result.heads.pipes.loc[name]
        along = level - height_m(section.easting_m, section.northing_m)
        assert along.max() == pytest.approx(heads["highest_static_head_m"], abs=0.02)
        assert along.min() == pytest.approx(heads["lowest_static_head_m"], abs=0.02)


def check_worst_walk(result: Plan, elevation: Path, spots: int = 12) -> None:
    """The longest walks equal the exact way round the fences, lifted onto the ground.

    The exact way is the shortest in plan inside the paddock; its length over the ground is taken
    from the raster every two metres.
    """
    siting, cells = result.siting, result.reach.cells
    height_m = Heights(elevation, result.holding.crs)
    access = result.candidates.access.set_index(["site", "paddock"])
    order = np.argsort(-np.nan_to_num(siting.walk_m, nan=-1.0), kind="stable")[:: max(1, 7)]
    for cell in order[:spots]:
        row = cells.iloc[cell]
        shape = result.holding.paddocks.geometry[row["paddock"]]
        start = access.loc[(siting.nearest_site[cell], row["paddock"])]
        way = shortest_way_m(
            shape,
            (start["easting_m"], start["northing_m"]),
            (row["easting_m"], row["northing_m"]),
            height_m,
        )
        assert siting.walk_m[cell] == pytest.approx(way, rel=WALK_TOLERANCE, abs=0.5)


def check_cover(result: Plan) -> None:
    siting = result.siting
    reachable = ~siting.unreachable
    assert (siting.nearest_site[reachable] >= 0).all()
    limit = result.project.design.walk_limit_m
    assert np.nanmax(siting.walk_m) <= limit * (1 + 1e-6)
    assert result.network.unconnected == ()


class TestSample:
    def test_every_requirement_is_met(self, sample: Plan) -> None:
        assert sample.met, [verdict for verdict in sample.verdicts if not verdict.met]
        check_cover(sample)

    def test_heads_from_the_raster_alone(self, sample: Plan, root: Path) -> None:
        check_static_heads(sample, root / "sample_data" / "terrain.tif")

    def test_walks_from_the_shapes_alone(self, sample: Plan, root: Path) -> None:
        check_worst_walk(sample, root / "sample_data" / "terrain.tif")

    def test_written_twice_gives_the_same_bytes(
        self, sample: Plan, sample_project: Path, tmp_path: Path
    ) -> None:
        again = plan_holding(load_project(sample_project))
        first, second = write_plan(sample, tmp_path / "a"), write_plan(again, tmp_path / "b")
        assert len(first) == len(second) > 5
        for one, other in zip(first, second, strict=True):
            if one.name == "summary.json":
                left, right = (json.loads(path.read_text("utf-8")) for path in (one, other))
                for record in (left, right):
                    for part in record["optimisation"].values():
                        part.pop("seconds")
                assert left == right
            else:
                assert one.read_bytes() == other.read_bytes(), one.name


class TestRealPlaces:
    def test_lancashire(self, real_data: Path) -> None:
        result = lancashire(real_data)
        elevation = real_data / "lancashire_uk_farm" / "SD84.asc"
        check_cover(result)
        check_static_heads(result, elevation)
        check_worst_walk(result, elevation)

    def test_new_south_wales(self, real_data: Path) -> None:
        result = new_south_wales(real_data)
        elevation = real_data / "nsw_au_paddocks_translated" / "dem_h_10m_epsg28355.tif"
        check_cover(result)
        check_static_heads(result, elevation)
        check_worst_walk(result, elevation)

    def test_mountain_front_that_every_machine_has(self) -> None:
        """A real grid that matplotlib ships: the Jacksboro fault, 3 arc seconds, feet aside."""
        with matplotlib.cbook.get_sample_data("jacksboro_fault_dem.npz") as grid:
            heights = grid["elevation"].astype(float)
            west, east = float(grid["xmin"]), float(grid["xmax"])
            south, north = float(grid["ymin"]), float(grid["ymax"])
        rows, columns = heights.shape
        transform = Affine((east - west) / columns, 0, west, 0, -(north - south) / rows, north)
        lon, lat = (west + east) / 2, (south + north) / 2
        local = gpd.GeoSeries(gpd.points_from_xy([lon], [lat]), crs=4326).to_crs(32616).iloc[0]
        shapes = [translate(shape, local.x - WEST, local.y - SOUTH) for shape in FIELDS]
        fields = table(shapes).set_crs(32616, allow_override=True)
        raw = project(
            holding={"crs": "EPSG:32616"},
            source=[{"name": "tank", "kind": "header_tank", "at": [lon, lat]}],
            siting={"steepest_degrees": 45.0},
        )
        with raster(heights, transform, "EPSG:4326") as data:
            result = plan_holding(raw, paddocks=fields, elevation=data)
        check_cover(result)
        assert result.heads.nodes["ground_level_m"].between(heights.min(), heights.max()).all()


class TestLaws:
    @given(st.lists(st.integers(150, 420), min_size=2, max_size=2, unique=True))
    @settings(deadline=None, derandomize=True, max_examples=4)
    def test_a_longer_walk_never_costs_more(self, limits: list[int]) -> None:
        prices = []
        for limit in sorted(limits):
            result = plan(
                FIELDS, flat, design={"walk_limit_m": float(limit)}, layout={"optimality_gap": 0.0}
            )
            assert result.network.proof.status == "optimal"
            prices.append(result.totals["cost"])
        assert prices == sorted(prices, reverse=True)

    @given(st.integers(-40, 40), st.integers(-40, 40))
    @settings(deadline=None, derandomize=True, max_examples=3)
    def test_shifting_by_whole_cells_changes_no_price(self, east: int, north: int) -> None:
        first = plan(FIELDS, hill, **LIMITS)
        dx, dy = east * first.terrain.cell_m, north * first.terrain.cell_m
        moved = plan(
            [translate(shape, dx, dy) for shape in FIELDS],
            lambda x, y: hill(x - dx, y - dy),
            source=[
                {"name": "tank", "kind": "header_tank", "at": [WEST + dx, SOUTH + dy], "crs": CRS}
            ],
            **LIMITS,
        )
        assert moved.network.proof.value == pytest.approx(first.network.proof.value, rel=1e-6)

    def test_turning_by_a_right_angle_changes_no_price(self) -> None:
        concave = Polygon(
            [(WEST, SOUTH), (WEST + 360, SOUTH), (WEST + 360, SOUTH + 120),
             (WEST + 140, SOUTH + 120), (WEST + 140, SOUTH + 300), (WEST, SOUTH + 300)]
        )  # fmt: skip
        for shapes in (FIELDS, [concave]):
            upright = plan(shapes, flat, **LIMITS)
            lying = plan([turned(shape) for shape in shapes], flat, **LIMITS)
            assert lying.network.proof.value == pytest.approx(
                upright.network.proof.value, rel=1e-6
            )

    @given(st.floats(-500, 3000))
    @settings(deadline=None, derandomize=True, max_examples=3)
    def test_raising_all_ground_changes_no_static_head(self, lift_m: float) -> None:
        first = plan(FIELDS, hill, **LIMITS)
        raised = plan(FIELDS, lambda x, y: hill(x, y) + lift_m, **LIMITS)
        np.testing.assert_allclose(
            raised.heads.pipes["static_head_m"], first.heads.pipes["static_head_m"], atol=1e-6
        )


def test_a_gill_that_no_pipe_bears_leaves_only_the_field_beyond_it_dry(tmp_path: Path) -> None:
    """A field beyond a gill 160 m deep, under 30 m of water: no class in the table, no place for
    a break tank; the four fields on the near side are planned as they are without it."""

    def height(x: np.ndarray, _: np.ndarray) -> np.ndarray:
        gill = np.maximum(0.0, 1.0 - np.abs(x - WEST - 480.0) / 70.0)
        return 300.0 - 0.02 * (x - WEST) - 160.0 * gill

    near = squares(2, 2, 200.0)
    far = box(WEST + 560, SOUTH, WEST + 760, SOUTH + 200)
    result = plan(
        [*near, far],
        height,
        source=[{
            "name": "tank", "kind": "header_tank", "at": [WEST + 20, SOUTH + 200],
            "crs": CRS, "height_above_ground_m": 25.0,
        }],
        design={"follow": "open", "walk_limit_m": 250.0, "laying": "buried"},
        siting={"steepest_degrees": 45.0},
        layout={"price_rounds": 0},
    )  # fmt: skip
    unsized = result.scheme.sizes.pipes["outside_diameter_mm"].isna()
    dry = set(result.network.pipes.loc[unsized, "to_node"])
    outlets = result.scheme.delivery.outlets["alone_l_min"]
    assert unsized.any()
    assert not unsized.all()
    assert set(outlets.index[outlets.isna()]) == dry
    assert (outlets.dropna() >= 8.0).all()
    assert result.confidence is not None
    chances = result.confidence.outlets
    assert (chances.loc[list(dry), "chance"] == 0.0).all()
    assert (chances.drop(index=list(dry))["chance"] > 0.9).all()
    missed = [verdict for verdict in result.verdicts if not verdict.met]
    assert [verdict.requirement for verdict in missed] == [
        "Every outlet gets its design flow with the mobs at their worst places",
        "Pressure within the class of the pipe",
    ]
    written = write_plan(result, tmp_path / "plan")
    features = json.loads((tmp_path / "plan" / "plan.geojson").read_text("utf-8"))["features"]
    served = {
        feature["properties"]["name"]: feature["properties"]["served"]
        for feature in features
        if feature["properties"]["kind"] == "outlet"
    }
    assert {name for name, some in served.items() if not some} == dry
    assert len(written) > 10
