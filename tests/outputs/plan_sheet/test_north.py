"""Grid north against true north."""

from __future__ import annotations

import math

import pyproj
import pytest

from dewpond.outputs.drawing.plan_sheet.grid import grid_interval_m, grid_north_degrees
from dewpond.outputs.drawing.plan_sheet.panel import convergence_text


@pytest.mark.parametrize(
    ("code", "easting", "northing"),
    [
        (27700, 393_600.0, 457_750.0),
        (27700, 620_000.0, 310_000.0),
        (32755, 630_800.0, 6_195_000.0),
        (32611, 300_000.0, 4_800_000.0),
        (2154, 700_000.0, 6_600_000.0),  # Lambert conformal conic: no meridian of a zone
    ],
)
def test_equals_the_true_bearing_of_a_step_up_the_grid(code, easting, northing) -> None:
    """Independent of PROJ's factors: the geodesic from a point to one 100 m up the grid."""
    crs = pyproj.CRS.from_epsg(code)
    to_degrees = pyproj.Transformer.from_crs(crs, crs.geodetic_crs, always_xy=True)
    start, end = (to_degrees.transform(easting, northing + step) for step in (-50, 50))
    bearing, _, _ = crs.get_geod().inv(*start, *end)
    extent = (easting - 500, northing - 300, easting + 500, northing + 300)
    assert grid_north_degrees(crs, extent) == pytest.approx(bearing, abs=0.001)


def test_worked_example_of_the_national_grid() -> None:
    """Ordnance Survey, A guide to coordinate systems in Great Britain, annexe C.

    The guide's point E 651409.903 N 313177.270 lies at 52°39'27.2531" N 1°43'4.5177" E; the
    first term of its convergence, (longitude - true origin) sin(latitude), is within 0.002
    degrees of the whole there (point from memory, its coordinates are checked below).
    """
    crs = pyproj.CRS.from_epsg(27700)
    easting, northing = 651_409.903, 313_177.270
    latitude = math.radians(52 + 39 / 60 + 27.2531 / 3600)
    longitude = 1 + 43 / 60 + 4.5177 / 3600
    to_degrees = pyproj.Transformer.from_crs(crs, crs.geodetic_crs, always_xy=True)
    assert to_degrees.transform(easting, northing) == pytest.approx(
        (longitude, math.degrees(latitude)), abs=1e-6
    )
    first_term = (longitude + 2.0) * math.sin(latitude)
    extent = (easting - 1, northing - 1, easting + 1, northing + 1)
    assert grid_north_degrees(crs, extent) == pytest.approx(first_term, abs=0.002)
    assert first_term > 0  # east of the true origin grid north lies east of true north


def test_said_in_words() -> None:
    assert "0°31′ east of true north" in convergence_text(0.51)
    assert "2°05′ west of true north" in convergence_text(-2.09)
    assert "it is true north" in convergence_text(0.004)


def test_grid_interval_is_round_and_at_least_three_centimetres() -> None:
    for scale in (500, 1250, 2500, 7500, 10_000, 100_000):
        interval = grid_interval_m(scale, 1.0)
        assert interval * 1000 / scale >= 30
        assert interval / 10 ** math.floor(math.log10(interval)) in (1, 2, 5)
