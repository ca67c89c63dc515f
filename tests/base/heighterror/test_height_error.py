"""The published classes, the covariance of the field, and kriging by hand."""

from __future__ import annotations

from typing import get_args

import numpy as np
import pytest

from dewpond.base.heighterror import (
    ErrorPoints,
    HeightError,
    KnownLevels,
    class_of_posting,
    conditioned,
    covariance_m2,
    data_classes,
    height_error,
    published_error,
)
from dewpond.base.settings import TerrainSettings
from dewpond.base.settings.data import HeightData

RADAR = published_error("radar surface 30 m")


def head_deviation_m(error: HeightError, apart_m: float, slope: float = 0.0) -> float:
    """Standard deviation of a head over a distance: both variances less twice what is shared."""
    place = [0.0, apart_m], [0.0, 0.0]
    matrix = covariance_m2(error, *place, *place, [slope] * 2, [slope] * 2)
    return float(np.sqrt(matrix[0, 0] + matrix[1, 1] - 2 * matrix[0, 1]))


# -- published figures --------------------------------------------------------------------------


def test_settings_and_table_name_the_same_classes() -> None:
    assert get_args(HeightData) == data_classes()


def test_radar_surface_follows_its_two_published_figures() -> None:
    # Copernicus DEM: 4 m LE90 absolute and 2 m LE90 point to point; LE90 = 1.6449 sigma.
    assert RADAR.standard_deviation_m == pytest.approx(4 / 1.6449, abs=1e-3)
    assert RADAR.long_share == pytest.approx(0.875, abs=1e-9)
    assert RADAR.steep_factor == pytest.approx(2.0)


def test_point_to_point_accuracy_comes_out_as_published() -> None:
    # Far beyond the short range, well within the long one: 2 m at 90 %, and 4 m on steep ground.
    error = HeightError(
        RADAR.standard_deviation_m, 120.0, 1e9, RADAR.long_share, RADAR.steep_factor
    )
    assert 1.6449 * head_deviation_m(error, 2_000.0) == pytest.approx(2.0, abs=1e-3)
    assert 1.6449 * head_deviation_m(error, 2_000.0, slope=0.25) == pytest.approx(4.0, abs=1e-3)


def test_long_correlation_cancels_in_a_head_and_short_does_not() -> None:
    # Worked figures for GLO-30: 1.07 m at 60 m with a short range of 120 m and the long part
    # left out, 1.22 m at the scale of a paddock, 3.44 m if the two errors had nothing in common.
    flat = HeightError(RADAR.standard_deviation_m, 120.0, 1e12, 0.875)
    assert head_deviation_m(flat, 60.0) == pytest.approx(1.07, abs=0.005)
    assert head_deviation_m(flat, 1_000.0) == pytest.approx(1.216, abs=0.005)
    alone = HeightError(RADAR.standard_deviation_m, 1e-3, 1e12, 0.0)
    assert head_deviation_m(alone, 60.0) == pytest.approx(3.44, abs=0.005)
    shift = HeightError(RADAR.standard_deviation_m, 120.0, 1e12, 1.0)
    assert head_deviation_m(shift, 1_000.0) == pytest.approx(0.0, abs=1e-3)


def test_lidar_leaves_a_head_within_a_fifth_of_a_metre() -> None:
    # 0.15 m RMSE: at most 0.15 sqrt(2) = 0.21 m, however far apart.
    assert head_deviation_m(published_error("lidar 1 m"), 50_000.0) <= 0.2122


@pytest.mark.parametrize(
    ("posting_m", "expected"),
    [
        (1.0, "fine raster of unknown make"),
        (10.0, "national terrain 5 m"),
        (30.0, "national terrain 50 m"),
        (90.0, "national terrain 50 m"),
    ],
)
def test_class_without_settings_goes_by_posting(posting_m: float, expected: str) -> None:
    assert class_of_posting(posting_m) == expected
    assert height_error(TerrainSettings(), posting_m).data_class == expected


def test_settings_go_before_the_class() -> None:
    settings = TerrainSettings(
        height_data="radar surface 30 m", height_standard_deviation_m=1.5, height_long_share=0.5
    )
    error = height_error(settings, 30.0)
    assert (error.standard_deviation_m, error.long_share) == (1.5, 0.5)
    assert error.short_range_m == RADAR.short_range_m
    assert error.source.startswith("[terrain]")


def test_one_length_without_a_class_is_one_range_alone() -> None:
    settings = TerrainSettings(height_standard_deviation_m=0.3, correlation_length_m=80.0)
    error = height_error(settings, 5.0)
    assert (error.short_range_m, error.long_share) == (80.0, 0.0)
    at_range = covariance_m2(error, [0.0], [0.0], [80.0], [0.0])[0, 0]
    assert at_range / 0.3**2 == pytest.approx(np.exp(-3.0))


# -- kriging ------------------------------------------------------------------------------------

ONE_RANGE = HeightError(2.0, 300.0, 1e6, 0.0)


def known(easting: list[float], error_m: list[float], deviation_m: float = 0.0) -> KnownLevels:
    place = np.asarray(easting)
    return KnownLevels(
        place, np.zeros(place.size), np.asarray(error_m), np.full(place.size, deviation_m)
    )


def row(easting: list[float]) -> ErrorPoints:
    return ErrorPoints(np.asarray(easting), np.zeros(len(easting)))


def test_exact_survey_makes_the_variance_zero_there() -> None:
    mean, left = conditioned(ONE_RANGE, row([0.0, 50.0, 900.0]), known([50.0], [1.4]))
    assert mean[1] == pytest.approx(1.4)
    assert left[1, 1] == pytest.approx(0.0, abs=1e-12)
    assert left[1] == pytest.approx([0.0, 0.0, 0.0], abs=1e-12)
    assert 0 < left[0, 0] < left[2, 2] < 4.0


def test_two_surveyed_points_by_hand() -> None:
    # Points at 0 and 200 m, asked half-way; correlations r = exp(-1) at 100 m, s = exp(-2) at
    # 200 m. By symmetry both weights are r / (1 + s); mean = weight (1 + 0.5) and variance left
    # = 4 (1 - 2 r weight).
    r, s = np.exp(-1.0), np.exp(-2.0)
    weight = r / (1 + s)
    mean, left = conditioned(ONE_RANGE, row([100.0]), known([0.0, 200.0], [1.0, 0.5]))
    assert mean[0] == pytest.approx(weight * 1.5)
    assert left[0, 0] == pytest.approx(4 * (1 - 2 * r * weight))


def test_survey_as_poor_as_the_raster_counts_half() -> None:
    # Prior variance 4, survey variance 4: mean half of what was found, half the variance left.
    mean, left = conditioned(ONE_RANGE, row([0.0]), known([0.0], [3.0], deviation_m=2.0))
    assert mean[0] == pytest.approx(1.5)
    assert left[0, 0] == pytest.approx(2.0)


def test_one_place_surveyed_twice_is_no_trouble() -> None:
    mean, left = conditioned(ONE_RANGE, row([0.0]), known([0.0, 0.0], [1.0, 2.0]))
    assert mean[0] == pytest.approx(1.5)
    assert left[0, 0] == pytest.approx(0.0, abs=1e-9)


def test_no_surveyed_level_changes_nothing() -> None:
    points = row([0.0, 40.0])
    mean, left = conditioned(ONE_RANGE, points, known([], []))
    assert mean.tolist() == [0.0, 0.0]
    assert left == pytest.approx(covariance_m2(ONE_RANGE, *([[0.0, 40.0], [0.0, 0.0]] * 2)))


def test_kriging_is_the_gaussian_process_of_a_reference_library() -> None:
    # scikit-learn's GaussianProcessRegressor: the exponential covariance is Matern with nu = 1/2.
    process = pytest.importorskip("sklearn.gaussian_process")
    kernels = pytest.importorskip("sklearn.gaussian_process.kernels")
    random = np.random.default_rng(5)
    at, asked = random.uniform(0, 800, (12, 2)), random.uniform(0, 800, (30, 2))
    found = random.normal(0, 2, 12)
    error = HeightError(2.0, 250.0, 9_000.0, 0.6)
    kernel = kernels.ConstantKernel(4 * 0.4) * kernels.Matern(250 / 3, nu=0.5)
    kernel += kernels.ConstantKernel(4 * 0.6) * kernels.Matern(3_000.0, nu=0.5)
    reference = process.GaussianProcessRegressor(kernel, alpha=0.2**2, optimizer=None)
    expected, matrix = reference.fit(at, found).predict(asked, return_cov=True)
    surveyed = KnownLevels(at[:, 0], at[:, 1], found, np.full(12, 0.2))
    mean, left = conditioned(error, ErrorPoints(asked[:, 0], asked[:, 1]), surveyed)
    assert mean == pytest.approx(expected, abs=1e-9)
    assert left == pytest.approx(matrix, abs=1e-9)
