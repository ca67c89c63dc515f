"""Options struck out before the search, because a cheaper one is as good or no plan can use them.

Every rule here keeps at least one choice of least cost, so the search stays exact.
"""

from __future__ import annotations

import numpy as np

from dewpond.base.pipesizing.model import BoolArray, IntArray, PipeOptions
from dewpond.base.pipesizing.tables import SMALL_HEAD_M, Tables
from dewpond.base.surface import FloatArray


def without_dominated(
    tables: Tables, options: PipeOptions, allowed: BoolArray, may_grow: bool
) -> BoolArray:
    """Return the options left when each one beaten by another of the same pipe is struck out.

    Beaten: dearer or as dear, and as much or more loss in every case. Where sizes must keep
    order, only options of the same outside diameter are compared, so that no order is lost. Of
    equals the first stays.
    """
    count = allowed.shape[1]
    dearer = tables.cost[:, :, None] >= tables.cost[:, None, :]
    narrower = options.bore_m[:, None] <= options.bore_m[None, :]
    same = options.outside_diameter_m[:, None] == options.outside_diameter_m[None, :]
    alike = (tables.cost[:, :, None] == tables.cost[:, None, :]) & (
        options.bore_m[:, None] == options.bore_m[None, :]
    )
    earlier = np.arange(count)[None, :] < np.arange(count)[:, None]
    beaten = dearer & narrower & (~alike | earlier) & allowed[:, None, :]
    if not may_grow:
        beaten &= same
    return np.asarray(allowed & ~(beaten & ~np.eye(count, dtype=bool)).any(axis=2))


def in_order(allowed: BoolArray, parent: IntArray, diameter: FloatArray) -> BoolArray:
    """Return the options left when none is wider than its parent or narrower than its children.

    Pipes stand after their parents, so that one pass down and one up settle the bounds.
    """
    left = allowed.copy()
    for pipe in np.flatnonzero(parent >= 0):
        widest = diameter[left[parent[pipe]]].max(initial=0.0)
        left[pipe] &= diameter <= widest
    for pipe in np.flatnonzero(parent >= 0)[::-1]:
        narrowest = diameter[left[pipe]].min(initial=np.inf)
        left[parent[pipe]] &= diameter >= narrowest
    return left


def best_loss(tables: Tables, allowed: BoolArray) -> FloatArray:
    """Return the least loss (cases, pipes) that any allowed option has."""
    return np.asarray(np.where(allowed, tables.loss_m, np.inf).min(axis=2))


def within_room(tables: Tables, allowed: BoolArray) -> BoolArray:
    """Return the options left when each that breaks some check is struck out.

    An option breaks a check if it does so with the least loss in every other pipe of the way.
    """
    if not allowed.any(axis=1).all():
        return allowed  # a pipe with nothing left: there is no room to speak of
    best = best_loss(tables, allowed)
    spare = tables.room_m - best @ tables.weight.T
    left = allowed.copy()
    for check, weight in enumerate(tables.weight):
        way = np.flatnonzero(weight > 0)
        extra = weight[way, None] * (tables.loss_m[:, way] - best[:, way, None])
        left[way] &= (extra <= spare[:, check, None, None] + SMALL_HEAD_M).all(axis=0)
    return left
