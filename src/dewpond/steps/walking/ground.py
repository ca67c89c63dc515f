"""Cost of walking straight over the ground, and how far any other way could better it.

The cost of a way is its 3D length plus ``climb_weight`` for each metre of height gained or lost
on it, which is the same in both directions; see `Ground`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from affine import Affine
from scipy import ndimage

from dewpond.base.gridgraph import FloatArray

RAY_SPACING_CELLS = 2.0
"""Distance between neighbouring rays at the far end [cells]."""


@dataclass(frozen=True, eq=False)
class Ground:
    """Heights on the walking grid and the price of climbing.

    For stock that pay ``k`` level metres for each metre climbed, a way of length L that rises by
    U and falls by D in all costs L + k U one way and L + k D back. U - D is the difference in
    height of its ends, so both orders of ways are those of L + k (U + D) / 2, which is what is
    computed here (``climb_weight`` = k / 2). The worse of the two trips is then that cost plus
    k / 2 times the difference in height of the ends: see `worse_trip_m`.

    Attributes
    ----------
    height_m : array of float, shape (rows, columns)
        Finite heights at cell centres [m].
    transform : Affine
        From (column, row) to the coordinates of the points [m].
    climb_weight : float
        Half of the level metres that one metre climbed stands for.
    """

    height_m: FloatArray
    transform: Affine
    climb_weight: float

    @property
    def cell_m(self) -> float:
        """Side of a cell [m]."""
        return float(abs(self.transform.a))

    def heights_m(self, x: FloatArray, y: FloatArray) -> FloatArray:
        """Return bilinear heights [m] at points; the edge carries on beyond the grid."""
        column = (x - self.transform.c) / self.transform.a - 0.5
        row = (y - self.transform.f) / self.transform.e - 0.5
        return np.asarray(
            ndimage.map_coordinates(
                self.height_m, [row, column], order=1, mode="nearest", prefilter=False
            )
        )

    def straight_extra_m(self, start: FloatArray, end: FloatArray) -> FloatArray:
        """Return cost less plan length [m] of straight ways, each taken in steps of a cell.

        Parameters
        ----------
        start, end : arrays of float, shape (n, 2)
        """
        if len(start) == 0:
            return np.zeros(0)
        length = np.hypot(*(end - start).T)
        steps = np.maximum(1, np.ceil(length / self.cell_m)).astype(np.intp)
        way = np.repeat(np.arange(len(start)), steps + 1)
        first = np.cumsum(steps + 1) - (steps + 1)
        share = (np.arange(way.size) - first[way]) / steps[way]
        at = start[way] + share[:, None] * (end - start)[way]
        rise = np.diff(self.heights_m(at[:, 0], at[:, 1]))
        within = way[1:] == way[:-1]
        extra = self._extra((length / steps)[way[1:]], rise)
        return np.asarray(
            np.bincount(way[1:][within], weights=extra[within], minlength=len(start)), dtype=float
        )

    def extra_from_m(
        self, viewpoint: FloatArray, angle: FloatArray, distance_m: FloatArray
    ) -> FloatArray:
        """Return cost less plan length [m] of straight ways from one point to many.

        Heights are taken along rays about two cells apart at their far end, summed outward, and
        the sums interpolated at the points.

        Parameters
        ----------
        viewpoint : array of float, shape (2,)
        angle : array of float, shape (n,)
            Directions [rad].
        distance_m : array of float, shape (n,)
        """
        if angle.size == 0:
            return np.zeros(0)
        angle = _unwrapped(angle)
        lowest, reach = float(angle.min()), float(distance_m.max())
        span = max(float(angle.max()) - lowest, 1e-9)
        rays = 2 + int(np.ceil(span * reach / (RAY_SPACING_CELLS * self.cell_m)))
        steps = 1 + int(np.ceil(reach / self.cell_m))
        theta = np.linspace(lowest, lowest + span, rays)[:, None]
        r = np.arange(steps + 1) * self.cell_m
        heights = self.heights_m(
            viewpoint[0] + np.cos(theta) * r, viewpoint[1] + np.sin(theta) * r
        )
        total = np.zeros((rays, steps + 1))
        np.cumsum(self._extra(self.cell_m, np.diff(heights, axis=1)), axis=1, out=total[:, 1:])
        where = [(angle - lowest) * ((rays - 1) / span), distance_m / self.cell_m]
        return np.asarray(
            ndimage.map_coordinates(total, where, order=1, mode="nearest", prefilter=False)
        )

    def least_possible_m(self, plan_m: FloatArray, rise_m: FloatArray) -> FloatArray:
        """Return a cost [m] that no way can be below, whatever the ground between its ends.

        A way no shorter in plan than ``plan_m`` whose ends differ by ``rise_m`` is at least
        sqrt(plan_m² + rise_m²) long, and gains and loses at least ``rise_m``.
        """
        return np.asarray(np.hypot(plan_m, rise_m) + self.climb_weight * np.abs(rise_m))

    def worse_trip_m(self, cost_m: FloatArray, rise_m: FloatArray) -> FloatArray:
        """Return the worse of the trips to and from the water [m, level-equivalent]."""
        return np.asarray(cost_m + self.climb_weight * np.abs(rise_m))

    def _extra(self, step_m: FloatArray | float, rise_m: FloatArray) -> FloatArray:
        return np.asarray(np.hypot(step_m, rise_m) - step_m + self.climb_weight * np.abs(rise_m))


def _unwrapped(angle: FloatArray) -> FloatArray:
    """Move angles by whole turns so that their range is cut opposite to where most of them lie."""
    middle = np.arctan2(np.sin(angle).sum(), np.cos(angle).sum())
    return np.asarray(middle + np.remainder(angle - middle + np.pi, 2 * np.pi) - np.pi)
