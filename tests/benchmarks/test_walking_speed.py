"""Walks from 100 sites in a 60 ha paddock at 2 m cells, beside scikit-image's MCP_Geometric.

Run with ``pytest -m benchmark -s tests/benchmarks/test_walking_speed.py``. Processor time is
printed beside wall time, because it is the steadier of the two on a busy machine. The peer
searches an 8-neighbour grid; its limit is its own ``max_cumulative_cost``.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import shapely
from skimage.graph import MCP_Geometric

sys.path.insert(0, str(Path(__file__).parents[1] / "steps" / "walking"))
from visibility import exact_walks
from walking_fields import Heights, level, make_terrain, points, walk, walks_of

CELL_M = 2.0
SITES = 100
WOOD = shapely.Point(400, 400).buffer(60, quad_segs=4)
PADDOCK = shapely.Polygon(
    [
        *[(0, 0), (880, 0), (900, 350), (620, 420), (640, 520)],
        *[(900, 560), (880, 800), (350, 820), (300, 700), (60, 760)],
    ]
).difference(WOOD)


def rolling(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Slopes up to about 13 %, over 60 m in height."""
    return 18 * np.sin(x / 180) * np.cos(y / 220) + x * 0.03


def hilly(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Slopes up to about 35 %, where going round can pay."""
    return 40 * np.sin(x / 150) * np.cos(y / 170) + x * 0.03


def _sites() -> list[tuple[int, int, float, float]]:
    fence = PADDOCK.exterior
    along = (np.arange(SITES) + 0.5) / SITES
    places = [fence.interpolate(share, normalized=True) for share in along]
    return [(number, 0, place.x, place.y) for number, place in enumerate(places)]


def _timed(work: Callable[[], object]) -> tuple[float, float]:
    wall, processor = time.perf_counter(), time.process_time()
    work()
    return time.perf_counter() - wall, time.process_time() - processor


def _peer(limit_m: float, sites: int) -> Callable[[], object]:
    """Make the peer's search, on the cells within the limit in easting and northing."""
    terrain = make_terrain(PADDOCK.bounds, CELL_M)
    transform = terrain.height_m.transform
    rows, columns = terrain.height_m.values.shape
    x = transform.c + (np.arange(columns) + 0.5) * CELL_M
    y = transform.f - (np.arange(rows) + 0.5) * CELL_M
    speed = np.where(shapely.contains_xy(PADDOCK, *np.meshgrid(x, y)), CELL_M, -1.0)
    row, column = np.nonzero(speed > 0)
    reach = int(np.ceil(limit_m / CELL_M))
    windows = []
    for _, _, east, north in _sites()[:sites]:
        nearest = np.argmin((x[column] - east) ** 2 + (y[row] - north) ** 2)
        top, left = max(row[nearest] - reach, 0), max(column[nearest] - reach, 0)
        window = speed[top : row[nearest] + reach + 1, left : column[nearest] + reach + 1]
        windows.append(
            (np.ascontiguousarray(window), (row[nearest] - top, column[nearest] - left))
        )

    def search() -> None:
        for window, start in windows:
            MCP_Geometric(window, fully_connected=True).find_costs([start])

    return search


def _line(name: str, figures: tuple[float, float], peers: dict[str, tuple[float, float]]) -> str:
    ratios = "; ".join(
        f"{peer} / this: wall {wall / figures[0]:.2f}, cpu {processor / figures[1]:.2f}"
        for peer, (wall, processor) in peers.items()
    )
    return f"  {name:24s}{figures[0] * 1e3:7.1f} ms/site, {figures[1] * 1e3:7.1f} cpu  {ratios}"


@pytest.mark.benchmark
@pytest.mark.parametrize("ground", [level, rolling, hilly], ids=lambda ground: ground.__name__)
@pytest.mark.parametrize("limit_m", [2000.0, 225.0], ids=["whole", "quarter"])
def test_walks_beside_mcp_geometric(ground: Heights, limit_m: float) -> None:
    peers = {}
    for name, limit in (("peer, whole", 2000.0), ("peer, window", limit_m)):
        wall, processor = _timed(_peer(limit, 25))
        peers[name] = (wall / 25, processor / 25)
    print(f"\n{ground.__name__} ground, limit {limit_m:.0f} m")
    for name, figures in peers.items():
        print(_line(name, figures, {}))
    found = []
    for workers in (1, 2):

        def measure(workers: int = workers) -> None:
            found.append(
                walk(
                    [PADDOCK],
                    _sites(),
                    cell_m=CELL_M,
                    heights=ground,
                    limit_m=limit_m,
                    workers=workers,
                )
            )

        wall, processor = _timed(measure)
        print(_line(f"dewpond, {workers} thread(s)", (wall / SITES, processor / SITES), peers))
    assert len(found[0].cells) > 150_000
    assert (found[0].walk_m != found[1].walk_m).nnz == 0


@pytest.mark.benchmark
def test_error_beside_mcp_geometric() -> None:
    """Largest errors beyond 20 m against the visibility graph, 5 sites, every 500th cell."""
    sites = _sites()[::20]
    reach = walk([PADDOCK], [(n, 0, *site[2:]) for n, site in enumerate(sites)], cell_m=CELL_M)
    picked = np.arange(0, len(reach.cells), 500)
    worst = 0.0
    for number, site in enumerate(sites):
        exact = exact_walks(PADDOCK, np.array(site[2:]), points(reach)[picked])
        error = np.abs(walks_of(reach, number)[picked] - exact) / np.maximum(exact, 20.0)
        worst = max(worst, float(error.max()))
    costs, _ = MCP_Geometric(np.full((401, 401), CELL_M)).find_costs([(200, 200)])
    row, column = np.indices(costs.shape)
    exact = CELL_M * np.hypot(row - 200, column - 200)
    far = exact > 20
    peer = float((costs[far] / exact[far] - 1).max())
    print(f"\nlargest error: dewpond {100 * worst:.4f} %, peer on open ground {100 * peer:.2f} %")
    assert worst < peer / 6
