"""Site sheets, read back by readers that are not ours and held against pyproj."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyogrio
import pyproj
import pytest
import shapely
import xmlschema
from hand_plan import CRS, make_plan

from dewpond.base.cells import harmless_cell, one_line
from dewpond.base.measures import Measures
from dewpond.base.model import Plan, Section
from dewpond.base.settings.documents import DocumentsSettings
from dewpond.base.units import METRES_PER_FOOT
from dewpond.outputs.layers import plan_layers
from dewpond.outputs.site import SitePoints, gpx_text, points_csv, site_points
from dewpond.outputs.site.along import pipe_points

SCHEMA = Path(__file__).parent / "gpx11.xsd"
HARMFUL = (
    "<script>alert('x')</script>",
    '=HYPERLINK("http://example.org")',
    "Поле за рекой \u0007\n& sons",
    "x" * 300,
)


def site_of(plan: Plan) -> SitePoints:
    return site_points(plan, plan_layers(plan))


def in_feet(plan: Plan) -> Plan:
    documents = DocumentsSettings(units="US customary")
    return replace(plan, project=plan.project.model_copy(update={"documents": documents}))


def with_parcels(plan: Plan) -> Plan:
    paddocks = plan.holding.paddocks.assign(parcel=["SD 1234", "=1+1", None, "SD 9"])
    return replace(plan, holding=replace(plan.holding, paddocks=paddocks))


def read_csv(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


@pytest.fixture(scope="module")
def site(plan: Plan) -> SitePoints:
    return site_of(plan)


@pytest.fixture(scope="module")
def gpx(plan: Plan, site: SitePoints, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("site") / "points.gpx"
    path.write_text(gpx_text(plan, site), encoding="utf-8")
    return path


class TestGpx:
    """Read by GDAL's GPX driver, which knows nothing of this project."""

    def test_is_valid_by_the_schema(self, gpx: Path) -> None:
        xmlschema.XMLSchema(SCHEMA).validate(gpx)

    def test_the_schema_can_say_no(self, gpx: Path) -> None:
        swapped = gpx.read_text("utf-8").replace("<type>", "<zzz>").replace("</type>", "</zzz>")
        with pytest.raises(xmlschema.XMLSchemaValidationError):
            xmlschema.XMLSchema(SCHEMA).validate(swapped)

    def test_waypoints_come_back_where_they_are(self, gpx: Path, plan: Plan) -> None:
        read = pyogrio.read_dataframe(gpx, layer="waypoints").set_index("name")
        back = read.geometry.to_crs(CRS)
        layers = plan_layers(plan)
        for kind in ("outlet", "source", "tank", "pump", "stop_valve", "meter", "air_valve",
                     "washout", "drain", "break_tank"):  # fmt: skip
            assert len(layers[kind])
            for name, point in zip(layers[kind]["name"], layers[kind].geometry, strict=True):
                assert back[name].distance(point) < 0.002
                assert read.at[name, "type"] == kind.replace("_", " ")

    def test_levels_are_metres_and_say_whose_they_are(self, gpx: Path, plan: Plan) -> None:
        read = pyogrio.read_dataframe(gpx, layer="waypoints").set_index("name")
        for name, level in plan.network.nodes["ground_level_m"].items():
            assert read.at[name, "ele"] == pytest.approx(level, abs=0.006)
        assert read["src"].str.contains("no survey").all()

    def test_degrees_are_those_of_pyproj(self, site: SitePoints) -> None:
        east, north = site.points["easting_m"], site.points["northing_m"]
        lon, lat = pyproj.Proj(CRS)(east, north, inverse=True)
        # The projection alone leaves out the shift of datum, under 0.003 degrees in Britain.
        np.testing.assert_allclose(site.points["longitude"], lon, atol=0.003)
        np.testing.assert_allclose(site.points["latitude"], lat, atol=0.003)
        to_grid = pyproj.Transformer.from_crs(4326, CRS, always_xy=True)
        degrees = site.points[["longitude", "latitude"]].to_numpy().T
        back = to_grid.transform(*degrees)
        np.testing.assert_allclose(np.hypot(back[0] - east, back[1] - north), 0, atol=0.002)

    def test_says_how_exactly_degrees_are_known(self, gpx: Path) -> None:
        """Without the grid of shifts, EPSG transformation 1314, OSGB36 to WGS 84: 2 m."""
        way = pyproj.Transformer.from_crs(CRS, 4326, always_xy=True)
        way.transform([400_100.0], [480_100.0])
        assert 0 < (known := way.get_last_used_operation().accuracy) <= 2.0
        assert f"from EPSG:27700 to within {known:g} m" in gpx.read_text("utf-8")

    def test_tracks_are_as_long_as_the_pipe(self, gpx: Path, plan: Plan) -> None:
        """Geodesic lengths on the ellipsoid with the rise between points, against the plan.

        The British grid is out by up to 0.04 % of length; cut bends and ground smoothed between
        marks take more, on the rough ground of this plan 0.4 %.
        """
        read = pyogrio.read_dataframe(gpx, layer="track_points")
        names = list(pyogrio.read_dataframe(gpx, layer="tracks")["name"])
        assert names == list(plan.network.pipes.index)
        geod = pyproj.Geod(ellps="WGS84")
        for number, name in enumerate(names):
            rows = read[read["track_fid"] == number]
            _, _, flat = geod.inv(rows.geometry.x[:-1], rows.geometry.y[:-1],
                                  rows.geometry.x[1:], rows.geometry.y[1:])  # fmt: skip
            length = np.hypot(flat, np.diff(rows["ele"])).sum()
            assert length == pytest.approx(plan.network.pipes.at[name, "length_m"], rel=0.005)

    def test_harmful_names_do_no_harm(self, tmp_path: Path) -> None:
        plan = make_plan(HARMFUL, source_name="]]><x/> & 水")
        path = tmp_path / "points.gpx"
        path.write_text(gpx_text(plan, site_of(plan)), encoding="utf-8")
        xmlschema.XMLSchema(SCHEMA).validate(path)
        read = pyogrio.read_dataframe(path, layer="waypoints")
        assert "]]><x/> & 水" in set(read["name"])
        assert any(HARMFUL[0] in text for text in read["desc"].dropna())

    def test_elevation_stays_in_metres_where_documents_print_feet(self, plan: Plan) -> None:
        feet = in_feet(plan)
        for row in plan.network.nodes.itertuples():
            assert f"<ele>{row.ground_level_m:.2f}</ele>" in gpx_text(feet, site_of(feet))


class TestCsv:
    def test_same_points_as_the_table(self, site: SitePoints) -> None:
        rows = read_csv(points_csv(site, Measures("metric")))
        assert [row["name"] for row in rows] == list(site.points["name"])
        assert len({row["name"] for row in rows}) == len(rows)
        assert {row["crs"] for row in rows} == {"EPSG:27700"}
        for row, point in zip(rows, site.points.itertuples(), strict=True):
            assert float(row["easting_m"]) == pytest.approx(point.easting_m, abs=6e-4)
            assert float(row["longitude"]) == pytest.approx(point.longitude, abs=6e-9)

    def test_feet_where_documents_print_feet(self, plan: Plan) -> None:
        rows = read_csv(points_csv(site_of(in_feet(plan)), Measures("US customary")))
        by_name = {row["name"]: row for row in rows}
        level = plan.network.nodes.at["outlet 1", "ground_level_m"]
        assert float(by_name["outlet 1"]["ground_level_ft"]) * METRES_PER_FOOT == pytest.approx(
            level, abs=0.002
        )
        marks = [float(row["chainage_ft"]) for row in rows if row["kind"] == "pipe mark"]
        assert marks
        np.testing.assert_allclose(np.remainder(np.array(marks) + 1, 100), 1, atol=0.006)
        assert any(row["name"] == "pipe 1 at 100 ft" for row in rows)

    def test_no_cell_starts_a_formula(self) -> None:
        plan = with_parcels(make_plan(HARMFUL, source_name='=HYPERLINK("x")'))
        text = points_csv(site_of(plan), Measures("metric"))
        rows = read_csv(text)
        assert any(row["name"] == '\'=HYPERLINK("x")' for row in rows)
        numbers = {"longitude", "latitude", "easting_m", "northing_m", "ground_level_m",
                   "chainage_m"}  # fmt: skip
        for row in rows:
            for column, cell in row.items():
                if column in numbers:
                    assert cell == "" or np.isfinite(float(cell))
                else:
                    assert not cell.startswith(("=", "+", "-", "@", "\t", "\r"))
        assert len(text.splitlines()) == len(rows) + 1

    def test_parcels_on_both_sides_of_the_fence(self, plan: Plan) -> None:
        rows = read_csv(points_csv(site_of(with_parcels(plan)), Measures("metric")))
        paddocks = plan.holding.paddocks
        parcels = dict(zip(paddocks.index, ["SD 1234", "'=1+1", "", "SD 9"], strict=True))
        for row in rows:
            if row["kind"] != "outlet":
                continue
            at = plan.network.nodes.geometry.get(row["name"])
            if at is None:
                continue
            touching = [
                parcels[i] for i in paddocks.index if paddocks.geometry[i].distance(at) < 1
            ]
            assert {p.strip("'") for p in row["parcels"].split("; ")} == {
                p.strip("'") for p in touching if p
            } or not any(touching)

    def test_without_parcels_the_column_is_empty(self, site: SitePoints) -> None:
        assert set(site.points["parcels"]) == {""}


class TestAlongAPipe:
    """An L of 60 m and 80 m on a slope of 3 in 4, by hand: 75 m and 100 m along the ground."""

    LINE = shapely.LineString([(0, 0), (0.2, 30), (0, 60), (80, 60)])

    def section(self) -> Section:
        at = np.linspace(0, 1, 141) * self.LINE.length
        points = shapely.get_coordinates(shapely.line_interpolate_point(self.LINE, at))
        return Section(1000 + at * 1.25, *points.T, 50 + at * 0.75, (), ())

    def test_bends_and_round_marks(self) -> None:
        points = pipe_points(self.LINE, self.section(), 25.0)
        assert points.kinds[0] == points.kinds[-1] == "end"
        # The kink of 0.2 m is no bend; the corner at 1,075 m stands in for the mark there.
        assert points.kinds.count("bend") == 1
        corner = points.kinds.index("bend")
        assert (points.easting_m[corner], points.northing_m[corner]) == pytest.approx((0, 60))
        assert points.chainage_m[corner] == pytest.approx(1075, abs=0.01)
        marks = [c for c, k in zip(points.chainage_m, points.kinds, strict=True) if k == "mark"]
        assert marks == [1025, 1050, 1100, 1125, 1150]
        assert (np.diff(points.chainage_m) > 0).all()

    def test_levels_follow_the_ground(self) -> None:
        points = pipe_points(self.LINE, self.section(), 25.0)
        np.testing.assert_allclose(
            points.ground_level_m, 50 + (points.chainage_m - 1000) * 0.6, atol=0.01
        )

    def test_first_mark_is_round_whatever_the_start(self) -> None:
        late = replace(self.section(), distance_m=self.section().distance_m + 13.0)
        points = pipe_points(self.LINE, late, 25.0)
        marks = [c for c, k in zip(points.chainage_m, points.kinds, strict=True) if k == "mark"]
        assert marks == [1025, 1050, 1075, 1100, 1125, 1150, 1175]


def test_same_plan_same_bytes(plan: Plan, site: SitePoints) -> None:
    again = make_plan()
    assert gpx_text(again, site_of(again)) == gpx_text(plan, site)


def test_words_of_cells() -> None:
    assert one_line("a\x00b\ud800c\u2028d\ufffe") == "a b c d"
    assert harmless_cell("\t =1") == "'=1"
    assert harmless_cell("＝1") == "'＝1"
    assert harmless_cell("3 - 2") == "3 - 2"
