"""The sample holding: made by its script, and of the shape that its description promises."""

import runpy
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import rasterio
import shapely
from scipy.ndimage import map_coordinates
from shapely.geometry import box

from dewpond.base.settings import load_project
from dewpond.base.units import head_m_from_bar

SAMPLE = Path(__file__).parent.parent / "sample_data"
VECTORS = ["paddocks", "keep_out", "tracks", "watercourses", "gates"]
BRITISH_GRID = "EPSG:27700"


def read(name: str, folder: Path = SAMPLE) -> gpd.GeoDataFrame:
    return gpd.read_file(folder / f"{name}.geojson")


@pytest.fixture(scope="module")
def paddocks() -> gpd.GeoDataFrame:
    return read("paddocks").to_crs(BRITISH_GRID)


@pytest.fixture(scope="module")
def remade(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("remade")
    runpy.run_path(str(SAMPLE / "make_sample_data.py"))["make_sample_data"](folder)
    return folder


def heights_at(easting, northing) -> np.ndarray:
    """Sample the raster between its cell centres, with no help from the package."""
    with rasterio.open(SAMPLE / "terrain.tif") as raster:
        column = (np.asarray(easting) - raster.bounds.left) / raster.res[0]
        row = (raster.bounds.top - np.asarray(northing)) / raster.res[1]
        return map_coordinates(raster.read(1).astype(float), [row - 0.5, column - 0.5], order=1)


@pytest.mark.parametrize("name", VECTORS)
def test_script_remakes_each_vector_file(remade, name):
    kept, made = read(name), read(name, remade)
    assert list(kept["name"]) == list(made["name"])
    # One step of the last decimal that is written, 1e-7 degrees, is about a centimetre.
    assert kept.geometry.geom_equals_exact(made.geometry, 1.5e-7).all()


def test_script_remakes_the_terrain(remade):
    with (
        rasterio.open(SAMPLE / "terrain.tif") as kept,
        rasterio.open(remade / "terrain.tif") as made,
    ):
        assert kept.profile == made.profile
        np.testing.assert_allclose(kept.read(1), made.read(1), atol=0.011)


def test_script_writes_the_same_bytes_twice(remade, tmp_path):
    runpy.run_path(str(SAMPLE / "make_sample_data.py"))["make_sample_data"](tmp_path)
    for path in sorted(remade.iterdir()):
        assert path.read_bytes() == (tmp_path / path.name).read_bytes(), path.name


def test_holding_has_the_promised_size(paddocks):
    assert 12 <= len(paddocks) <= 20
    assert paddocks["name"].is_unique
    assert 75 < paddocks.area.sum() / 1e4 < 88
    assert paddocks.is_valid.all()
    with rasterio.open(SAMPLE / "terrain.tif") as raster:
        assert raster.crs == BRITISH_GRID
        assert raster.res == (5.0, 5.0)
        assert paddocks.buffer(150).within(box(*raster.bounds)).all()


def test_project_file_names_files_and_paddocks_that_exist(paddocks):
    project = load_project(SAMPLE / "holding.toml")
    files = [project.terrain.elevation, project.paddocks.boundaries]
    files += [getattr(project.features, name) for name in VECTORS[1:]]
    assert all((project.folder / file).is_file() for file in files)
    named = {
        name for mob in project.mob if isinstance(mob.paddocks, list) for name in mob.paddocks
    }
    assert named <= set(paddocks["name"])
    assert [(mob.head, mob.weight_kg, mob.lactating) for mob in project.mob] == [
        (52, 640, True),
        (180, 70, True),
    ]


def test_stream_falls_all_the_way():
    (stream,) = read("watercourses").to_crs(BRITISH_GRID).geometry
    along = np.arange(10, stream.length - 10, 10.0)
    points = [stream.interpolate(metres) for metres in along]
    bed = heights_at([point.x for point in points], [point.y for point in points])
    assert np.diff(bed).max() < 0
    assert bed[0] - bed[-1] > 80


def test_stream_runs_in_the_bottom_of_its_valley():
    (stream,) = read("watercourses").to_crs(BRITISH_GRID).geometry
    along = np.arange(300, stream.length - 100, 20.0)
    middle = np.array([stream.interpolate(metres).coords[0] for metres in along])
    ahead = np.array([stream.interpolate(metres + 5).coords[0] for metres in along])
    across = (ahead - middle)[:, ::-1] * [1, -1] / 5.0
    left, right = middle + 25 * across, middle - 25 * across
    bed, banks = heights_at(*middle.T), [heights_at(*left.T), heights_at(*right.T)]
    assert (np.mean(banks, axis=0) > bed).mean() > 0.95


def test_main_lies_low_and_cannot_lift_water_to_the_top(paddocks):
    main, tank = load_project(SAMPLE / "holding.toml").source
    main_level, tank_level = heights_at(*np.transpose([main.at, tank.at]))
    centres = paddocks.centroid
    levels = heights_at(centres.x, centres.y)
    assert main_level < levels.min()
    head_m = head_m_from_bar(main.static_pressure_bar)
    assert 4 <= (levels > main_level + head_m).sum() <= len(levels) - 4
    walls = shapely.get_coordinates(paddocks.boundary.segmentize(5.0).array)
    top = max(levels.max(), heights_at(*walls.T).max())
    assert tank_level > top + 3


def test_flaws_are_there_and_small(paddocks):
    shape = paddocks.set_index("name").geometry
    overlap = shape["Whin Bank"].intersection(shape["Moor Intake"])
    assert 20 < overlap.area < 200
    assert overlap.buffer(-0.5).is_empty
    assert shape["Road Piece"].distance(shape["Beck Holme"]) == pytest.approx(1.5, abs=0.05)
    corners = shapely.points(shapely.get_coordinates(shape["Kiln Close"]))
    apart = shapely.distance(corners, shape.drop("Kiln Close").union_all().boundary)
    beside = apart[apart < 0.2]
    assert len(beside) > 20
    assert 0.005 < np.median(beside) < 0.06


def test_several_fields_are_too_big_for_one_outlet_in_a_corner(paddocks):
    limit_m = load_project(SAMPLE / "holding.toml").design.walk_limit_m
    across = 2 * paddocks.minimum_bounding_radius()
    assert (across > limit_m).sum() >= 4
