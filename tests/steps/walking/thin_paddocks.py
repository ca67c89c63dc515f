"""Paddocks whose ground runs out into parts thinner than a cell."""

from __future__ import annotations

import numpy as np
import shapely


def star(spikes: int, inner_m: float, outer_m: float) -> shapely.Polygon:
    """Return a star with its first spike a little north of east."""
    angle = 0.1 + np.pi * np.arange(2 * spikes) / spikes
    radius = np.where(np.arange(2 * spikes) % 2, inner_m, outer_m)
    return shapely.Polygon(radius[:, None] * np.column_stack([np.cos(angle), np.sin(angle)]))


def comb(
    teeth: int, width_m: float, tip_m: float, length_m: float, pitch_m: float
) -> shapely.Polygon:
    """Return a strip 20 m wide with teeth to the north of it."""
    ring = [(0.0, 20.0), (0.0, 0.0), (teeth * pitch_m, 0.0), (teeth * pitch_m, 20.0)]
    for east in pitch_m * (np.arange(teeth)[::-1] + 0.5):
        ring += [(east + width_m / 2, 20.0), (east + tip_m / 2, 20.0 + length_m)]
        ring += [(east - tip_m / 2, 20.0 + length_m), (east - width_m / 2, 20.0)]
    return shapely.Polygon(ring)


def farthest_corner(paddock: shapely.Polygon) -> np.ndarray:
    """Return the corner farthest from the middle, which is the end of a spike or a tooth."""
    corners = shapely.get_coordinates(paddock.exterior)
    middle = shapely.get_coordinates(shapely.box(*paddock.bounds).centroid)
    return np.asarray(corners[np.argmax(np.hypot(*(corners - middle).T))])
