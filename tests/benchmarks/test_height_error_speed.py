"""1,000 draws of the height error along the pipe of a scheme, beside scikit-learn's process.

Run with ``pytest -m benchmark -s tests/benchmarks/test_height_error_speed.py``. The scheme has 60
outlets on a tree of about 9 km; the finer the elevation, the more ground points it has. The peer
draws from the same Gaussian process by factorising the whole covariance (``sample_y``), which it
does up to a thousand points here: its time grows with the cube.
"""

from __future__ import annotations

import time

import numpy as np
import pytest
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import ConstantKernel, Matern

from dewpond.base.heighterror import ErrorPoints, published_error, simulate_errors

OUTLETS, DRAWS = 60, 1_000
RADAR = published_error("radar surface 30 m")


def tree(spacing_m: float) -> ErrorPoints:
    """Ground points along a tree of 60 outlets, each joined to the nearest before it."""
    random = np.random.default_rng(2)
    places = random.uniform(0, 1_500, (OUTLETS + 1, 2))
    parts = [places[:1]]
    for number in range(1, len(places)):
        gaps = np.hypot(*(places[:number] - places[number]).T)
        start = places[int(np.argmin(gaps))]
        steps = max(2, int(gaps.min() / spacing_m) + 1)
        parts.append(start + np.linspace(0, 1, steps)[:, None] * (places[number] - start))
    points = np.vstack(parts)
    return ErrorPoints(points[:, 0], points[:, 1])


@pytest.mark.benchmark
@pytest.mark.parametrize("spacing_m", [30.0, 10.0, 5.0, 2.0, 1.0])
def test_thousand_draws(spacing_m: float) -> None:
    points = tree(spacing_m)
    wall, processor = time.perf_counter(), time.process_time()
    drawn = simulate_errors(RADAR, points, DRAWS, random_state=1)
    own, own_processor = time.perf_counter() - wall, time.process_time() - processor
    assert drawn.shape == (DRAWS, len(points))
    line = (
        f"posting {spacing_m:g} m, {len(points)} points: {own:.2f} s wall, "
        f"{own_processor:.2f} s processor"
    )
    if len(points) <= 1_200:
        variance = RADAR.standard_deviation_m**2
        kernel = ConstantKernel(variance * (1 - RADAR.long_share)) * Matern(
            RADAR.short_range_m / 3, nu=0.5
        ) + ConstantKernel(variance * RADAR.long_share) * Matern(RADAR.long_range_m / 3, nu=0.5)
        places = np.column_stack([points.easting_m, points.northing_m])
        start = time.perf_counter()
        GaussianProcessRegressor(kernel, optimizer=None).sample_y(places, DRAWS, random_state=1)
        peer = time.perf_counter() - start
        line += f"; scikit-learn {peer:.2f} s, ratio {peer / own:.1f}"
    print(line)
