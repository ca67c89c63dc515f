"""Two real places and a real terrain read without fault, checked from outside the package."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import matplotlib.cbook
import numpy as np
import pyproj
import pytest
import rasterio
import shapely
from affine import Affine
from read_world import MOB

from dewpond.base.model import Holding
from dewpond.base.settings import WalkingSettings, project_from_dict
from dewpond.steps.read import read_holding
from dewpond.steps.terrain import model_terrain

GEOD = pyproj.Geod(ellps="WGS84")
PLACES = {
    "lancashire": {
        "elevation": "lancashire_uk_farm/SD84.asc",
        "boundaries": "lancashire_uk_farm/fields_54_wgs84.geojson",
        "name_field": "PARCEL_ID",
        "at": [-2.2110, 53.9000],
        "count": 54,
    },
    "new south wales": {
        "elevation": "nsw_au_paddocks_translated/dem_h_10m_epsg28355.tif",
        "boundaries": "nsw_au_paddocks_translated/paddocks_translated_epsg6933.gpkg",
        "name_field": "pid",
        "at": [148.430, -34.370],
        "count": 18,
    },
}


def _read(folder: Path, place: dict) -> Holding:
    return read_holding(
        project_from_dict(
            {
                "holding": {"name": "A real place"},
                "terrain": {"elevation": place["elevation"]},
                "paddocks": {k: place[k] for k in ("boundaries", "name_field")},
                "mob": [MOB],
                "source": [{"name": "main", "kind": "mains", "at": place["at"]}],
            },
            folder=folder,
        )
    )


@pytest.fixture(scope="module", params=list(PLACES))
def place(request, real_data):
    settings = PLACES[request.param]
    return real_data, settings, _read(real_data, settings)


def test_reads_without_fault(place):
    _, settings, holding = place
    assert len(holding.paddocks) == settings["count"]
    assert holding.paddocks["name"].is_unique
    assert holding.paddocks.geometry.is_valid.all()
    assert len(holding.inputs) >= 2


def test_boundary_lengths_against_geodesics(place):
    _, _, holding = place
    degrees = holding.paddocks.to_crs("EPSG:4326").geometry
    for metric, geographic in zip(holding.paddocks.geometry, degrees, strict=True):
        lines = shapely.get_parts(shapely.boundary(geographic))
        geodesic_m = sum(GEOD.line_length(*shapely.get_coordinates(line).T) for line in lines)
        assert metric.length == pytest.approx(geodesic_m, rel=1e-3)


def test_paddocks_no_longer_overlap(place):
    _, _, holding = place
    shapes = holding.paddocks.geometry.to_numpy()
    first, second = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    ahead = first < second
    shared = shapely.area(shapely.intersection(shapes[first[ahead]], shapes[second[ahead]]))
    assert shared.max() < 1e-3


def test_overlaps_are_reported(place):
    _, settings, holding = place
    told = " ".join(holding.repairs)
    if settings["count"] == 54:
        # The note that came with the parcels counts 47 pairs, all of them slivers; one of them
        # shares less than a square millimetre and is taken for rounding.
        assert "46 overlaps between neighbours narrower than 1 m" in told
    else:
        assert sum("the smaller, keeps it" in text for text in holding.repairs) == 13


def test_heights_against_rasterio(place):
    folder, settings, holding = place
    bounds = holding.paddocks.total_bounds
    with rasterio.open(folder / settings["elevation"]) as dataset:
        crs = pyproj.CRS.from_epsg(27700 if "SD84" in settings["elevation"] else 28355)
        carry = pyproj.Transformer.from_crs(holding.crs, crs, always_xy=True)
        x, y = carry.transform(
            *np.random.default_rng(3).uniform(bounds[:2], bounds[2:], (99, 2)).T
        )
        step = dataset.transform
        # To the centre of the cell that holds each point, where bilinear and nearest agree.
        column, row = np.floor((x - step.c) / step.a), np.floor((y - step.f) / step.e)
        x, y = step.c + (column + 0.5) * step.a, step.f + (row + 0.5) * step.e
        sampled = np.array(list(dataset.sample(zip(x, y, strict=True)))).ravel()
    easting, northing = carry.transform(x, y, direction="INVERSE")
    # The .prj without codes spells its constants to fewer digits: a millimetre on the ground.
    np.testing.assert_allclose(holding.surface.heights_m(easting, northing), sampled, atol=1e-3)


def test_terrain_covers_the_ground(place):
    _, _, holding = place
    terrain = model_terrain(holding, WalkingSettings())
    assert 3 <= terrain.cell_m <= 8
    assert np.isfinite(terrain.height_m.values).mean() > 0.9
    grazed_cells = holding.paddocks["area_ha"].sum() * 10_000 / terrain.cell_m**2
    assert 20_000 < grazed_cells < 250_000


def test_areas_against_those_the_rural_payments_agency_published(real_data):
    """GEOM_AREA_SQM comes with the parcels: areas on the British National Grid, whose areas
    are 0.08 % smaller there than on the ground, and UTM's likewise; corners rounded to 1e-5."""
    holding = _read(real_data, PLACES["lancashire"])
    published = gpd.read_file(real_data / PLACES["lancashire"]["boundaries"])["GEOM_AREA_SQM"]
    found = holding.paddocks["area_ha"].to_numpy() * 10_000
    np.testing.assert_allclose(found.sum(), published.sum(), rtol=2e-3)
    large = published.to_numpy() > 5_000
    np.testing.assert_allclose(found[large], published[large], rtol=1e-2)


@pytest.fixture(scope="module")
def jacksboro(tmp_path_factory):
    """Real terrain that ships with matplotlib: SRTM at 3 arc seconds, Tennessee, metres."""
    sample = matplotlib.cbook.get_sample_data("jacksboro_fault_dem.npz")
    heights, step = sample["elevation"], float(sample["dx"])
    # The file calls its northern edge ymin.
    west, north = float(sample["xmin"]), max(float(sample["ymin"]), float(sample["ymax"]))
    path = tmp_path_factory.mktemp("jacksboro") / "terrain.tif"
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        width=heights.shape[1],
        height=heights.shape[0],
        count=1,
        dtype="int16",
        crs="EPSG:4326",
        transform=Affine(step, 0, west, 0, -step, north),
    ) as target:
        target.write(heights, 1)
    middle = west + 200 * step, north - 170 * step
    carry = pyproj.Transformer.from_crs("EPSG:4326", "EPSG:32616", always_xy=True)
    easting, northing = carry.transform(*middle)
    shapes = [
        shapely.box(easting + 500 * i, northing, easting + 500 * (i + 1), northing + 600)
        for i in range(3)
    ]
    frame = gpd.GeoDataFrame({"name": ["a", "b", "c"]}, geometry=shapes, crs="EPSG:32616")
    project = project_from_dict(
        {
            "holding": {"name": "Jacksboro"},
            "terrain": {"elevation": "terrain.tif", "height_unit": "metre"},
            "mob": [MOB],
            "source": [{"name": "s", "kind": "spring", "at": list(middle)}],
        },
        folder=path.parent,
    )
    return read_holding(project, paddocks=frame), heights, (west, north, step)


def test_real_terrain_in_degrees(jacksboro):
    holding, heights, (west, north, step) = jacksboro
    assert holding.crs.to_epsg() == 32616
    row, column = np.meshgrid(np.arange(165, 172), np.arange(201, 214), indexing="ij")
    carry = pyproj.Transformer.from_crs("EPSG:4326", holding.crs, always_xy=True)
    easting, northing = carry.transform(west + (column + 0.5) * step, north - (row + 0.5) * step)
    found = holding.surface.heights_m(easting, northing)
    np.testing.assert_allclose(found, heights[row, column], atol=0.01)


def test_slope_of_real_terrain_at_the_scale_of_its_posting(jacksboro):
    """Against numpy's central differences on the raster itself, over two postings."""
    holding, heights, (west, north, step) = jacksboro
    terrain = model_terrain(holding, WalkingSettings())
    across = GEOD.inv(west, north, west + step, north)[2]
    down = GEOD.inv(west, north, west, north - step)[2]
    by_row, by_column = np.gradient(heights.astype(float), down, across)
    reference = np.degrees(np.arctan(np.hypot(by_row, by_column)))[160:175, 200:215]
    slope = terrain.slope_degrees.values
    assert np.nanmean(slope) == pytest.approx(reference.mean(), rel=0.25)
    assert np.nanmax(slope) < 1.6 * reference.max()
