"""Corners that stand out into the ground: where a shortest way can bend, and how."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from dewpond.base.gridgraph import BoolArray, FloatArray, IntArray

NUDGE_M = 1e-4
"""A corner is looked at from this far in front of it, so that its own walls do not hide it."""

LEAST_TURN = 1e-6
"""Sine of the least turn that makes a corner."""


@dataclass(frozen=True, eq=False)
class Corners:
    """Boundary vertices with an interior angle above 180 degrees.

    Attributes
    ----------
    at : array of float, shape (r, 2)
        Place [m].
    front : array of float, shape (r, 2)
        A point just in front of the corner, inside the polygon [m].
    before, after : arrays of float, shape (r, 2)
        Unit vectors along the wall that ends and the wall that starts here, interior on the left.
    """

    at: FloatArray
    front: FloatArray
    before: FloatArray
    after: FloatArray

    def __len__(self) -> int:
        return len(self.at)

    def ahead(self, corner: int, offset: FloatArray) -> BoolArray:
        """Say which offsets from a corner can be walked to after bending round it one way.

        A taut way hugs the corner, so it leaves between the wall that starts there and the
        straight continuation of the wall that ends there.

        Parameters
        ----------
        corner : int
        offset : array of float, shape (2, n)
        """
        return _between(offset, self.after[corner], self.before[corner])

    def behind(self, corner: int, offset: FloatArray) -> BoolArray:
        """Say which offsets can be walked to after bending round the corner the other way."""
        return _between(-offset, self.after[corner], self.before[corner])

    def bent_round(self, which: IntArray | slice, offset: FloatArray) -> BoolArray:
        """Say which of some corners a way may bend round.

        Parameters
        ----------
        which : array of int, shape (k,), or slice
        offset : array of float, shape (2, k)
            From each corner to the other end of the straight part of the way [m].
        """
        after, before = self.after[which].T, self.before[which].T
        return _between(offset, after, before) | _between(-offset, after, before)


def standing_corners(polygon: shapely.Polygon) -> Corners:
    """Find the corners of a polygon, holes included, that a way inside it can bend round."""
    places, befores, afters = [], [], []
    for ring in shapely.get_rings(shapely.orient_polygons(polygon)):
        vertex = shapely.get_coordinates(ring)[:-1]
        along = np.roll(vertex, -1, axis=0) - vertex
        after = along / np.hypot(along[:, 0], along[:, 1])[:, None]
        before = np.roll(after, 1, axis=0)
        standing = _cross(before.T, after.T) < -LEAST_TURN
        places.append(vertex[standing])
        befores.append(before[standing])
        afters.append(after[standing])
    at, before, after = (np.concatenate(part) for part in (places, befores, afters))
    forward = before - after
    forward /= np.maximum(np.hypot(forward[:, 0], forward[:, 1]), 1e-12)[:, None]
    return Corners(at, at + NUDGE_M * forward, before, after)


def _between(offset: FloatArray, right: FloatArray, left: FloatArray) -> BoolArray:
    """Whether offsets lie in the angle from ``right`` anticlockwise to ``left``, below 180°."""
    slack = -1e-6 - 1e-7 * np.hypot(offset[0], offset[1])
    return np.asarray(
        (_cross(right, offset) >= slack)
        & (_cross(offset, left) >= slack)
        & ((right[0] + left[0]) * offset[0] + (right[1] + left[1]) * offset[1] >= slack)
    )


def _cross(first: FloatArray, second: FloatArray) -> FloatArray:
    return np.asarray(first[0] * second[1] - first[1] * second[0])
