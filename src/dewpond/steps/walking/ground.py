"""Cost of walking straight over the ground, and how far any other way could better it.

The cost of a way is its 3D length plus ``climb_weight`` for each metre of height gained or lost
on it, which is the same in both directions; see `Ground`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
from affine import Affine
from scipy import ndimage

from dewpond.base.gridgraph import FloatArray
from dewpond.steps.walking.sight import direction

Costs = npt.NDArray[np.float32]
AnyFloats = FloatArray | Costs

RAY_SPACING_CELLS = 4.0
"""Distance between neighbouring rays at the far end [cells]."""

LEAST_RAYS = 64
"""Rays in a right angle at least, so that steep planes are true in every direction."""


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

    @cached_property
    def level(self) -> bool:
        """Whether all heights are the same, so that a walk is as long as in plan."""
        return bool(np.ptp(self.height_m) == 0.0)

    def heights_m(self, x: FloatArray, y: FloatArray) -> FloatArray:
        """Return bilinear heights [m] at points; the edge carries on beyond the grid."""
        at = np.empty((2, *np.broadcast_shapes(np.shape(x), np.shape(y))))
        at[0], at[1] = y, x
        return self._sampled(at)

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
        self, viewpoint: FloatArray, towards: FloatArray, distance_m: FloatArray
    ) -> FloatArray:
        """Return cost less plan length [m] of straight ways from one point to many.

        Heights are taken along rays about four cells apart at their far end, in steps of a
        cell, summed outward, and the sums interpolated at the points.

        Parameters
        ----------
        viewpoint : array of float, shape (2,)
        towards : array of float, shape (n,)
            Bearings as of `sight.bearing`.
        distance_m : array of float, shape (n,)
        """
        if self.level or towards.size == 0:
            return np.zeros(towards.size)
        towards = _unwrapped(towards)
        lowest, reach = float(towards.min()), float(distance_m.max())
        span = max(float(towards.max()) - lowest, 1e-9)
        # a right angle is one unit of bearing
        fineness = np.pi / 2 * reach / (RAY_SPACING_CELLS * self.cell_m)
        rays = 2 + int(np.ceil(span * max(fineness, LEAST_RAYS)))
        steps = 1 + int(np.ceil(reach / self.cell_m))
        x, y = direction(np.linspace(lowest, lowest + span, rays))[:, :, None]
        r = np.arange(steps + 1) * self.cell_m
        at = np.empty((2, rays, steps + 1))
        np.multiply(y, r, out=at[0])
        np.multiply(x, r, out=at[1])
        at += viewpoint[::-1, None, None]
        heights = self._sampled(at)
        total = np.zeros((rays, steps + 1))
        np.cumsum(self._extra(self.cell_m, np.diff(heights, axis=1)), axis=1, out=total[:, 1:])
        where = np.empty((2, towards.size))
        np.multiply(towards - lowest, (rays - 1) / span, out=where[0])
        np.divide(distance_m, self.cell_m, out=where[1])
        return np.asarray(
            ndimage.map_coordinates(total, where, order=1, mode="nearest", prefilter=False)
        )

    def least_possible_m(self, plan_m: AnyFloats, rise_m: FloatArray) -> FloatArray:
        """Return a cost [m] that no way can be below, whatever the ground between its ends.

        A way no shorter in plan than ``plan_m`` whose ends differ by ``rise_m`` is at least
        sqrt(plan_m² + rise_m²) long, and gains and loses at least ``rise_m``.
        """
        return np.asarray(np.hypot(plan_m, rise_m) + self.climb_weight * np.abs(rise_m))

    def worse_trip_m(self, cost_m: Costs, rise_m: FloatArray) -> Costs:
        """Return the worse of the trips to and from the water [m, level-equivalent]."""
        return cost_m + (self.climb_weight * np.abs(rise_m)).astype(np.float32)

    def _sampled(self, at: FloatArray) -> FloatArray:
        """Return heights [m] at (northing, easting), shape (2, ...), which is overwritten."""
        at[0] -= self.transform.f
        at[0] /= self.transform.e
        at[1] -= self.transform.c
        at[1] /= self.transform.a
        at -= 0.5
        return np.asarray(
            ndimage.map_coordinates(self.height_m, at, order=1, mode="nearest", prefilter=False)
        )

    def _extra(self, step_m: FloatArray | float, rise_m: FloatArray) -> FloatArray:
        extra = np.square(rise_m)
        extra += np.square(step_m)
        np.sqrt(extra, out=extra)
        extra -= step_m
        if self.climb_weight:
            extra += self.climb_weight * np.abs(rise_m)
        return np.asarray(extra)


def _unwrapped(towards: FloatArray) -> FloatArray:
    """Move bearings by whole turns of 4 so that their range is cut where none of them lie."""
    present = np.bincount((np.floor((towards + 2.0) * 8).astype(np.int8)) & 31, minlength=32) > 0
    if present.all() or not (present[0] and present[-1]):
        return towards
    cut = int(np.argmin(present)) / 8 - 2.0
    return np.where(towards < cut, towards + 4.0, towards)
