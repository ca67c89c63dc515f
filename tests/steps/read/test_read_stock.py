"""Mobs find their paddocks, sources their place."""

from __future__ import annotations

import math

import pytest
from read_world import EAST, NORTH, faults, read, settings, write_holding

MOB = settings()["mob"][0]
SOURCE = settings()["source"][0]


@pytest.fixture
def folder(tmp_path):
    return write_holding(tmp_path)


def _only(texts: list[str]) -> str:
    assert len(texts) == 1, texts
    return texts[0]


def test_mob_in_named_paddocks(folder):
    mobs = read(folder, mob=[MOB | {"paddocks": ["Far Field", "Top Field"]}]).mobs
    assert mobs[0].paddocks == (0, 2)


def test_mob_in_an_unknown_paddock(folder):
    text = _only(faults(folder, mob=[MOB | {"paddocks": ["Top Feild", "Low Field"]}]))
    assert text == (
        '[[mob]] 1 ("cows"), paddocks: is not the name of a paddock; found "Top Feild"; '
        'expected a name from the paddock layer; did you mean "Top Field"?'
    )


def test_mob_without_paddocks(folder):
    assert "names no paddock" in _only(faults(folder, mob=[MOB | {"paddocks": []}]))


def test_source_in_longitude_and_latitude(folder):
    spring = {"name": "s", "kind": "spring", "at": [-2.21, 53.897]}
    (source,) = read(folder, source=[spring]).sources
    easting_m, northing_m = _utm_by_series(-2.21, 53.897, central_meridian=-3.0)
    assert source.easting_m == pytest.approx(easting_m, abs=0.01)
    assert source.northing_m == pytest.approx(northing_m, abs=0.01)


def _utm_by_series(longitude: float, latitude: float, central_meridian: float):
    """UTM by series: Snyder, Map Projections, USGS PP 1395, equations 8-9 to 8-15 and 3-21.

    The formulas are written from memory.
    """
    a, e2, k0 = 6378137.0, 0.00669437999014, 0.9996
    phi = math.radians(latitude)
    ep2 = e2 / (1 - e2)
    n = a / math.sqrt(1 - e2 * math.sin(phi) ** 2)
    t, c = math.tan(phi) ** 2, ep2 * math.cos(phi) ** 2
    b = math.cos(phi) * math.radians(longitude - central_meridian)
    m = a * (
        (1 - e2 / 4 - 3 * e2**2 / 64 - 5 * e2**3 / 256) * phi
        - (3 * e2 / 8 + 3 * e2**2 / 32 + 45 * e2**3 / 1024) * math.sin(2 * phi)
        + (15 * e2**2 / 256 + 45 * e2**3 / 1024) * math.sin(4 * phi)
        - (35 * e2**3 / 3072) * math.sin(6 * phi)
    )
    third = (1 - t + c) * b**3 / 6
    fifth = (5 - 18 * t + t**2 + 72 * c - 58 * ep2) * b**5 / 120
    fourth = (5 - t + 9 * c + 4 * c**2) * b**4 / 24
    sixth = (61 - 58 * t + t**2 + 600 * c - 330 * ep2) * b**6 / 720
    easting_m = 500_000 + k0 * n * (b + third + fifth)
    return easting_m, k0 * (m + n * math.tan(phi) * (b**2 / 2 + fourth + sixth))


def test_source_far_outside(folder):
    text = _only(faults(folder, source=[SOURCE | {"at": [EAST, NORTH + 9200]}]))
    assert '[[source]] 1 ("main"), at: lies far outside the holding' in text
    assert "9.0 km from the nearest paddock; expected at most 5 km" in text


def test_swapped_numbers_that_are_no_place_at_all(folder):
    source = {"name": "main", "kind": "mains", "at": [-40.0, 175.0]}
    (text,) = [text for text in faults(folder, source=[source]) if "do not fit" in text]
    assert "swap the two numbers: longitude comes first" in text


def test_swapped_longitude_and_latitude(folder):
    text = _only(faults(folder, source=[{"name": "s", "kind": "spring", "at": [53.897, -2.21]}]))
    assert "swap the two numbers: longitude comes first" in text


def test_easting_and_northing_without_their_crs(folder):
    text = _only(faults(folder, source=[{"name": "s", "kind": "spring", "at": [385000, 444000]}]))
    assert "do not fit its CRS, WGS 84" in text
    assert "found [385000, 444000]" in text
    assert 'add crs = "EPSG:..."' in text


def test_source_in_an_unknown_crs(folder):
    text = _only(faults(folder, source=[SOURCE | {"crs": "EPSG:999999"}]))
    assert '[[source]] 1 ("main"), crs: is not a known CRS; found "EPSG:999999"' in text
