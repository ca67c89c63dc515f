"""A command area on ground of a formula, with one tank whose level is known."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from shapely.geometry.base import BaseGeometry

import farms
from dewpond.base.model import CommandArea
from dewpond.gravity import command_area

TANK = {
    "name": "tank", "kind": "header_tank", "crs": farms.CRS, "height_above_ground_m": 1.0,
}  # fmt: skip
PIPE = {"flow_l_min": 12.0, "head_m": 3.0, "outside_diameter_mm": 32.0, "length_factor": 1.0}


def at(east: float, north: float, level_m: float | None = None, **other: Any) -> dict[str, Any]:
    """Return a tank so far from the south-west corner, its ground level given or not."""
    place = {"at": [farms.WEST + east, farms.SOUTH + north], **other}
    return {**TANK, **place} if level_m is None else {**TANK, **place, "level_m": level_m}


def find(
    shapes: Sequence[BaseGeometry],
    height: farms.Height,
    asked: dict[str, Any],
    posting_m: float = 5.0,
    **tables: Any,
) -> CommandArea:
    """Return the command area of a holding; ``asked`` goes over the usual pipe."""
    with farms.ground(shapes, height, posting_m) as data:
        return command_area(
            farms.project(**tables), {**PIPE, **asked}, paddocks=farms.table(shapes),
            elevation=data,
        )  # fmt: skip


def level_ground(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    return np.full(np.broadcast(x, y).shape, 100.0)
