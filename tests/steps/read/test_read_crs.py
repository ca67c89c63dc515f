"""Lengths in the working CRS are true; any CRS in which they are not is refused."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pyproj
import pytest
import rasterio
import shapely
from affine import Affine
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st
from read_world import faults, read, read_frame, write_holding

from dewpond.steps.read.working_crs import LARGEST_SCALE_ERROR, local_crs, scale_error

GEOD = pyproj.Geod(ellps="WGS84")


@given(
    longitude=st.floats(-180, 180),
    latitude=st.floats(-60, 72),
    bearing=st.floats(0, 360),
    length_m=st.floats(100, 3000),
)
@hypothesis_settings(deadline=None, derandomize=True, max_examples=40)
def test_lengths_agree_with_the_geodesic_anywhere(longitude, latitude, bearing, length_m):
    end = GEOD.fwd(longitude, latitude, bearing, length_m)[:2]
    extent = (longitude - 0.02, latitude - 0.02, longitude + 0.02, latitude + 0.02)
    carry = pyproj.Transformer.from_crs("EPSG:4326", local_crs(extent), always_xy=True)
    start, stop = carry.transform(longitude, latitude), carry.transform(*end)
    assert np.hypot(stop[0] - start[0], stop[1] - start[1]) == pytest.approx(length_m, rel=1e-3)


def test_local_zone():
    assert local_crs((-2.23, 53.88, -2.19, 53.92)).to_epsg() == 32630
    assert local_crs((148.4, -34.4, 148.5, -34.3)).to_epsg() == 32755


def test_a_holding_astride_the_edge_of_a_zone_on_the_equator():
    """UTM is 0.10 % out at the edge of its zone there, so another projection takes over."""
    extent = (5.95, 0.0, 6.1, 0.1)
    assert scale_error(pyproj.CRS.from_epsg(32632), extent) > LARGEST_SCALE_ERROR
    assert scale_error(local_crs(extent), extent) < 1e-5


def test_scale_of_the_national_grid_against_the_published_projection():
    """Scale on the central meridian of the British National Grid is 0.9996012717 (OS)."""
    extent = (-2.0, 53.0, -2.0, 53.0)
    assert scale_error(pyproj.CRS.from_epsg(27700), extent) == pytest.approx(
        1 - 0.9996012717, abs=1e-8
    )


def test_web_mercator_stretches_by_the_secant_of_the_latitude():
    """On the sphere the scale of Mercator is sec(latitude); Snyder, USGS PP 1395, from memory."""
    extent = (-2.2, 53.9, -2.2, 53.9)
    found = scale_error(pyproj.CRS.from_epsg(3857), extent)
    assert found == pytest.approx(1 / np.cos(np.radians(53.9)) - 1, rel=0.02)


def test_a_holding_astride_the_180th_meridian(tmp_path):
    """Outlines are cut in two on the meridian, as RFC 7946, section 3.1.9, asks for."""
    south, north = -16.8, -16.798
    parts = [shapely.box(179.998, south, 180, north), shapely.box(-180, south, -179.998, north)]
    frame = gpd.GeoDataFrame(
        {"name": ["a"]}, geometry=[shapely.MultiPolygon(parts)], crs="EPSG:4326"
    )
    carry = pyproj.Transformer.from_crs("EPSG:4326", "EPSG:32701", always_xy=True)
    easting, northing = carry.transform(180.0, south)
    profile = {"driver": "GTiff", "width": 200, "height": 200, "count": 1, "dtype": "float32"}
    transform = Affine(10, 0, easting - 1000, 0, -10, northing + 1000)
    with rasterio.open(
        tmp_path / "terrain.tif", "w", crs="EPSG:32701", transform=transform, **profile
    ) as target:
        target.write(np.full((1, 200, 200), 30, dtype="float32"))
    source = {"name": "s", "kind": "spring", "at": [179.999, -16.799]}
    holding = read_frame(frame, tmp_path, source=[source])
    assert holding.crs.to_epsg() in (32660, 32701)
    geodesic_m2 = sum(abs(GEOD.geometry_area_perimeter(part)[0]) for part in parts)
    assert holding.paddocks["area_ha"][0] * 1e4 == pytest.approx(geodesic_m2, rel=2e-3)


def test_given_crs_is_used(tmp_path):
    holding = read(write_holding(tmp_path), holding={"crs": "EPSG:27700"})
    assert holding.crs.to_epsg() == 27700
    assert holding.surface.crs == holding.crs
    assert holding.paddocks.crs == holding.crs


@pytest.mark.parametrize(
    ("crs", "part"),
    [
        ("EPSG:4326", "is in degrees, in which lengths have no meaning"),
        ("EPSG:3857", "is web Mercator"),
        ("EPSG:6933", "keeps areas and not lengths"),
        ("EPSG:3035", "keeps areas and not lengths"),
        ("ESRI:54009", "keeps areas and not lengths"),
        ("EPSG:2263", "is in US survey foot, not in metres"),
        ("EPSG:2053", "has axes that do not run east and north"),
        ("EPSG:32633", "false at this holding"),
        ("EPSG:3395", "false at this holding"),
        ("EPSG:5701", "is not a projected CRS"),
        ("British Grid of Nowhere", "is not a known CRS"),
    ],
)
def test_crs_that_is_not_true_to_length_is_refused(tmp_path, crs, part):
    texts = faults(write_holding(tmp_path), holding={"crs": crs})
    assert len(texts) == 1, texts
    assert texts[0].startswith("[holding], crs: ")
    assert part in texts[0]
    assert "leave crs out to use the UTM zone of the holding" in texts[0]
