"""Concave paddocks with holes, from fixed numbers."""

from __future__ import annotations

import numpy as np
import shapely


def random_paddock(number: int) -> shapely.Polygon:
    """Return a jagged star joined to a lane 8 to 50 m wide, less a few jagged woods."""
    chance = np.random.default_rng(number)
    while True:
        shape = _jagged(chance, np.array([300.0, 300.0]), int(chance.integers(8, 30)), 40, 200)
        lane = shapely.LineString(chance.uniform(100, 500, (5, 2)))
        shape = shape.union(lane.buffer(chance.uniform(4, 25), quad_segs=2))
        for _ in range(chance.integers(1, 5)):
            shape = shape.difference(_jagged(chance, chance.uniform(150, 450, 2), 7, 5, 60))
        paddock = max(shapely.get_parts(shape), key=lambda part: part.area)
        if paddock.is_valid and len(paddock.interiors) >= 1:
            return paddock


def on_fence(paddock: shapely.Polygon, share: float) -> np.ndarray:
    """Return a point on the outer fence at a share of its length."""
    return shapely.get_coordinates(paddock.exterior.interpolate(share, normalized=True))[0]


def _jagged(
    chance: np.random.Generator, centre: np.ndarray, corners: int, least: float, most: float
) -> shapely.Geometry:
    angle = np.sort(chance.uniform(0, 2 * np.pi, corners))
    radius = chance.uniform(least, most, corners)
    ring = centre + radius[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
    return shapely.Polygon(ring).buffer(0)
