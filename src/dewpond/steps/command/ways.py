"""Straight ways over the ground from sources to places: heads along each, all in one sweep.

Every way is followed step by step, and all ways that are still under way take the step together.
What is kept is a handful of running figures a way, so memory does not grow with their length.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import ndimage
from scipy.special import ndtr

from dewpond.base.progress import Progress
from dewpond.base.summits import margin_asked_m
from dewpond.base.surface import FloatArray, Grid

IntArray = npt.NDArray[np.intp]

# So many ways are followed together: their running figures stay in the cache of a processor.
_BLOCK = 16_384
_LEAST_DEVIATION_M = 1e-9
_CERTAIN = 8.0  # standard deviations; what is surer than that changes no figure
_NODES = 10


@dataclass(frozen=True)
class Grade:
    """How water falls along a pipe, and what it must keep.

    Attributes
    ----------
    loss_per_m : float
        Friction in a metre of pipe at the flow asked for [m/m].
    fittings_loss_m : float
        Head lost in fittings at the end of the pipe [m].
    length_factor : float
        Length of pipe for a metre of the straight way over the ground [-].
    head_m : float
        Head wanted at the end [m].
    margin_m : float
        Head to keep over the ground on the way [m].
    """

    loss_per_m: float
    fittings_loss_m: float
    length_factor: float
    head_m: float
    margin_m: float


@dataclass(frozen=True, eq=False)
class Ways:
    """Figures of each way, arrays of one shape (n,); NaN where ground on the way is not known.

    Attributes
    ----------
    length_m : array of float
        Of the straight way over the ground, heights counted in, without the length factor [m].
    residual_head_m : array of float
        Head left at the end at the flow asked for [m].
    spare_m : array of float
        Least head to spare: at the end over the head wanted, on the way over the margin [m].
    chance : array of float
        That there is head to spare at the end and everywhere on the way, 0 to 1.
    highest_static_head_m : array of float
        Head of still water over the lowest ground on the way, both ends counted in [m].
    """

    length_m: FloatArray
    residual_head_m: FloatArray
    spare_m: FloatArray
    chance: FloatArray
    highest_static_head_m: FloatArray


@dataclass(frozen=True)
class Doubt:
    """How far out head may be along a way.

    Attributes
    ----------
    deviation : callable
        Standard deviation of head [m] at columns and rows of the grid.
    stretch_m : float
        Length of way over which errors are taken as one [m].
    shared : float
        Correlation of head on different stretches, 0 to below 1: what they have in common.
    """

    deviation: Callable[[FloatArray, FloatArray], FloatArray]
    stretch_m: float
    shared: float


def follow_ways(
    ground: Grid,
    start: FloatArray,
    end: FloatArray,
    level_m: FloatArray,
    still_level_m: FloatArray,
    grade: Grade,
    doubt: Doubt | None = None,
    progress: Progress | None = None,
) -> Ways:
    """Follow straight ways over the ground, from where water comes to where it is wanted.

    Parameters
    ----------
    ground : Grid
        Heights [m], square cells, north up.
    start, end : arrays of float, shape (n, 2)
        Easting and northing of the ends of each way [m], inside the grid.
    level_m, still_level_m : arrays of float, shape (n,)
        Level of the water at each start, at the flow asked for and without flow [m].
    grade : Grade
    doubt : Doubt, optional
        Left out, heights are taken as exact.
    progress : callable, optional

    Returns
    -------
    Ways

    Notes
    -----
    The ground is sampled in equal steps of at most one cell, by bilinear interpolation between
    cell centres.

    For the chance a way is cut into stretches. Within one, the place with least to spare in
    standard deviations stands for all; the stretches are then joined as normal figures with one
    factor in common (Dunnett and Sobel 1955, Biometrika 42: 258-260, from memory), by Gauss and
    Hermite's rule.
    """
    from_cell, to_cell = _cells(ground, start), _cells(ground, end)
    across = np.hypot(*(to_cell - from_cell).T)
    steps = np.maximum(np.ceil(across - 1e-9).astype(np.intp), 1)
    order = np.argsort(-steps, kind="stable")
    figures = np.empty((5, steps.size))
    sampler = _Sampler(ground.values)
    for first in range(0, steps.size, _BLOCK):
        ways = order[first : first + _BLOCK]
        figures[:, ways] = _follow(
            sampler, from_cell[ways], to_cell[ways], steps[ways], abs(ground.transform.a),
            level_m[ways], still_level_m[ways], grade, doubt,
        )  # fmt: skip
        if progress is not None:
            progress(min(1.0, (first + _BLOCK) / steps.size))
    return Ways(*figures)


def _follow(
    sampler: _Sampler,
    from_cell: FloatArray,
    to_cell: FloatArray,
    steps: IntArray,
    cell_m: float,
    level_m: FloatArray,
    still_m: FloatArray,
    grade: Grade,
    doubt: Doubt | None,
) -> FloatArray:
    """Follow ways that are sorted by their number of steps, most first."""
    stride = (to_cell - from_cell) / steps[:, None]
    flat_m = np.hypot(*stride.T) * cell_m
    fall_per_m = grade.loss_per_m * grade.length_factor
    column, row = from_cell[:, 0].copy(), from_cell[:, 1].copy()
    before = sampler.heights(column, row)
    lowest, length = before.copy(), np.zeros(steps.size)
    spare = np.full(steps.size, np.inf)
    chances = None if doubt is None else _Chances(doubt, steps.size)
    left = np.full(steps.size, np.nan)
    # Ways with at least so many steps stand in front, for every step in turn.
    under_way = np.searchsorted(-steps, -np.arange(1, steps.max() + 1), side="right")
    for step, active in enumerate(under_way.tolist(), start=1):
        at = slice(0, active)
        x = from_cell[at, 0] + step * stride[at, 0]
        y = from_cell[at, 1] + step * stride[at, 1]
        height = sampler.heights(x, y)
        length[at] += np.sqrt(flat_m[at] ** 2 + (height - before[at]) ** 2)
        before[at] = height
        np.minimum(lowest[at], height, out=lowest[at])
        over = level_m[at] - fall_per_m * length[at] - height
        done = under_way[step] if step < under_way.size else 0
        ending = slice(done, active)
        left[ending] = over[ending] - grade.fittings_loss_m
        way_m = length[at] * grade.length_factor
        over -= margin_asked_m(way_m, height, still_m[at], grade.margin_m)
        over[ending] = left[ending] - grade.head_m
        np.minimum(spare[at], over, out=spare[at])
        if chances is not None:
            chances.pass_by(over, x, y, length[at])
    sure = np.where(spare >= 0.0, 1.0, 0.0)
    chance = np.where(np.isnan(spare), np.nan, sure if chances is None else chances.whole())
    return np.array([length, left, spare, chance, still_m - lowest])


def _cells(ground: Grid, points: FloatArray) -> FloatArray:
    """Return columns and rows of points, whole numbers at cell centres, shape (n, 2)."""
    transform = ground.transform
    column = (points[:, 0] - transform.c) / transform.a - 0.5
    row = (points[:, 1] - transform.f) / transform.e - 0.5
    return np.column_stack([column, row])


class _Chances:
    """Chances of ways as they are followed: stretches that are done, and the one under way."""

    def __init__(self, doubt: Doubt, count: int) -> None:
        self._doubt = doubt
        factor, weight = np.polynomial.hermite_e.hermegauss(_NODES)
        self._factor, self._weight = factor[:, None], weight / weight.sum()
        self._done = np.ones((_NODES, count))
        self._stretch = np.zeros(count)
        self._least = np.full(count, np.inf)

    def pass_by(self, over: FloatArray, x: FloatArray, y: FloatArray, way_m: FloatArray) -> None:
        """Take the next place of the first so many ways, with the head to spare there."""
        at = slice(0, over.size)
        stretch = np.floor(way_m / self._doubt.stretch_m)
        ended = np.flatnonzero(stretch != self._stretch[at])
        self._finish(ended[self._least[ended] < _CERTAIN])
        self._least[ended] = np.inf
        self._stretch[at] = stretch
        score = over / np.maximum(self._doubt.deviation(x, y), _LEAST_DEVIATION_M)
        np.minimum(self._least[at], score, out=self._least[at])

    def whole(self) -> FloatArray:
        """Return the chance of every way, once all are followed to the end."""
        self._finish(np.flatnonzero(self._least < _CERTAIN))
        return np.asarray(self._weight @ self._done)

    def _finish(self, ways: IntArray) -> None:
        shared = self._doubt.shared
        given = (self._least[ways] - np.sqrt(shared) * self._factor) / np.sqrt(1.0 - shared)
        self._done[:, ways] *= ndtr(given)


class _Sampler:
    """Bilinear heights between cell centres, NaN where the nearest cell is not known."""

    def __init__(self, values: FloatArray) -> None:
        rows, columns = values.shape
        known = np.isfinite(values)
        # Carried on by half a cell at the edges, and filled so that a gap spoils no neighbour.
        filled = np.pad(_filled(values, known), 1, mode="edge")
        self._values = filled.ravel()
        self._known = None if known.all() else np.pad(known, 1, mode="edge").ravel()
        self._columns, self._width = columns, columns + 2
        self._rows = rows

    def heights(self, column: FloatArray, row: FloatArray) -> FloatArray:
        """Return heights at places [cells], clipped to the grid."""
        x = np.clip(column + 1.0, 0.5, self._columns + 0.5)
        y = np.clip(row + 1.0, 0.5, self._rows + 0.5)
        left, top = x.astype(np.intp), y.astype(np.intp)
        across, down = x - left, y - top
        place = top * self._width + left
        values, width = self._values, self._width
        one, two = values.take(place), values.take(place + width)
        one = one + across * (values.take(place + 1) - one)
        two = two + across * (values.take(place + width + 1) - two)
        height = one + down * (two - one)
        if self._known is not None:
            nearest = (y + 0.5).astype(np.intp) * width + (x + 0.5).astype(np.intp)
            height[~self._known.take(np.minimum(nearest, self._known.size - 1))] = np.nan
        return np.asarray(height)


def _filled(values: FloatArray, known: npt.NDArray[np.bool_]) -> FloatArray:
    if known.all() or not known.any():
        return np.where(known, values, 0.0)
    nearest = ndimage.distance_transform_edt(~known, return_distances=False, return_indices=True)
    return np.asarray(values[tuple(nearest)], dtype=float)
