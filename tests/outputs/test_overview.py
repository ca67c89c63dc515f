"""The map of many holdings: every holding on it, few or thousands, whatever became of them."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from matplotlib.colors import to_rgb

from dewpond.outputs.drawing import overview_map, save_png
from dewpond.outputs.drawing.overview import _SHADES


def county(count: int) -> tuple[list[tuple[float, float]], list[str], dict[str, int]]:
    """Scatter holdings round three towns; the farther north, the more fall short."""
    random = np.random.default_rng(3)
    towns = np.array([[-2.3, 54.0], [-2.0, 54.2], [-1.8, 53.95]])
    places = towns[random.integers(0, 3, count)] + random.normal(0, 0.09, (count, 2))
    chance = (places[:, 1] - 53.7) / 0.8
    draw = random.uniform(size=count)
    status = np.where(draw < 0.02, "failed", np.where(draw < chance, "short", "met"))
    names, counts = np.unique(status, return_counts=True)
    return (
        [tuple(place) for place in places.tolist()], list(status),
        dict(zip(names.tolist(), counts.tolist(), strict=True)),
    )  # fmt: skip


@pytest.mark.parametrize("count", [1, 12, 2_000])
def test_each_holding_has_a_mark(count: int, tmp_path: Path) -> None:
    places, status, counts = county(count)
    figure = overview_map(places, status, counts)
    save_png(figure, tmp_path / "overview.png")
    drawn = [line for line in figure.axes[0].lines if len(line.get_xdata())]
    assert sum(len(line.get_xdata()) for line in drawn) == count
    west, east = figure.axes[0].get_xlim()
    south, north = figure.axes[0].get_ylim()
    for line in drawn:
        assert ((line.get_xdata() > west) & (line.get_xdata() < east)).all()
        assert ((line.get_ydata() > south) & (line.get_ydata() < north)).all()


def test_thousands_are_gathered_and_none_is_lost() -> None:
    from dewpond.outputs.drawing.overview import _hexagons, _projected

    places, status, counts = county(20_000)
    figure = overview_map(places, status, counts)
    assert len(figure.axes[0].lines) < 5_000
    _, points = _projected(places)
    centres, own = _hexagons(points, 1_000.0)
    assert np.bincount(own).sum() == 20_000
    # In a lattice of hexagons 1,000 m apart no point is farther from its centre than 1,000/√3.
    assert np.hypot(*(points - centres[own]).T).max() <= 1_000.0 / np.sqrt(3) + 1e-6


def test_shades_grow_darker_so_that_grey_print_reads() -> None:
    weights = np.array([0.2126, 0.7152, 0.0722])
    grey = [float(np.dot(weights, to_rgb(shade))) for shade in _SHADES]
    assert all(first - second > 0.08 for first, second in pairwise(grey))


def test_no_place_at_all_is_said(tmp_path: Path) -> None:
    save_png(overview_map([], [], {"failed": 3}), tmp_path / "overview.png")
    assert (tmp_path / "overview.png").stat().st_size > 1_000


def test_a_nation_across_zones_and_the_180th_meridian() -> None:
    places = [(179.5, -17.0), (-179.5, -17.5), (178.0, -18.0)]
    figure = overview_map(places, ["met"] * 3, {"met": 3})
    west, east = figure.axes[0].get_xlim()
    assert east - west < 400_000
