"""Points along a pipe: its ends, its bends, and a mark at every round chainage."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from dewpond.base.model import Section
from dewpond.base.surface import FloatArray

BEND_TOLERANCE_M = 1.0
"""How far the line through the bends may stray from the pipe; common practice, no source.

A hand-held receiver is several metres out, and pipe laid along a fence keeps to the fence.
"""
_SAME_PLACE_M = 1.0
"""A mark so close to a bend or an end adds nothing."""


@dataclass(frozen=True, eq=False)
class PipePoints:
    """Points along one pipe in the direction of flow, ends first and last.

    ``kinds`` are "end", "bend" and "mark"; ``chainage_m`` is along the ground from the source.
    All arrays have one entry a point.
    """

    kinds: tuple[str, ...]
    easting_m: FloatArray
    northing_m: FloatArray
    ground_level_m: FloatArray
    chainage_m: FloatArray


def pipe_points(line: shapely.LineString, section: Section, every_m: float) -> PipePoints:
    """Return the points to set out along a pipe.

    Parameters
    ----------
    line : LineString
        The pipe in the working CRS, in the direction of flow.
    section : Section
        Ground along it.
    every_m : float
        Spacing of the marks [m], counted from the source.
    """
    run = _along_m(np.column_stack([section.easting_m, section.northing_m]))
    share = run / run[-1] if run[-1] > 0 else run
    bends = _bends(line)
    first, last = float(section.distance_m[0]), float(section.distance_m[-1])
    marks = every_m * np.arange(np.floor(first / every_m) + 1, np.ceil(last / every_m))
    fixed = np.concatenate([[first], np.interp(bends, share, section.distance_m), [last]])
    near = np.abs(marks[:, None] - fixed[None, :]).min(axis=1) < _SAME_PLACE_M
    marks = marks[~near]
    chainage = np.concatenate([fixed, marks])
    kinds = np.array(["end", *["bend"] * len(bends), "end", *["mark"] * len(marks)])
    order = np.argsort(chainage, kind="stable")
    # The last end stays last, were a bend to share its place.
    order = np.append(order[order != len(bends) + 1], len(bends) + 1)
    chainage = chainage[order]
    places = shapely.line_interpolate_point(
        line, np.interp(chainage, section.distance_m, share), normalized=True
    )
    return PipePoints(
        tuple(kinds[order].tolist()),
        shapely.get_x(places),
        shapely.get_y(places),
        np.interp(chainage, section.distance_m, section.ground_level_m),
        chainage,
    )


def _bends(line: shapely.LineString) -> FloatArray:
    """Return where the pipe bends, as shares of its length, ends left out."""
    points = shapely.get_coordinates(line)
    kept = shapely.get_coordinates(line.simplify(BEND_TOLERANCE_M))
    run = _along_m(points)
    # Simplified lines keep points of the line itself, in order.
    at, start = [], 0
    for corner in kept[1:-1]:
        found = start + int(np.flatnonzero((points[start:] == corner).all(axis=1))[0])
        at.append(run[found] / run[-1])
        start = found + 1
    return np.array(at, dtype=float)


def _along_m(points: FloatArray) -> FloatArray:
    steps = np.hypot(*np.diff(points, axis=0).T)
    return np.concatenate([[0.0], np.cumsum(steps)])
