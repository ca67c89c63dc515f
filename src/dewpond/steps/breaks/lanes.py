"""A lane along one fence of a paddock, by which stock walk back to an outlet."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import affinity, ops

from dewpond.base.surface import FloatArray

_STEEP = 1.7
"""Rise over run (some 60 degrees) from which a piece of fence ends a strip, not sides it."""
_ON_FENCE_M = 1.0


def lane_along(
    paddock: shapely.Polygon, angle: float, upper: bool, width_m: float, outlets: FloatArray
) -> shapely.Geometry:
    """Return the lane beside the breaks, or an empty shape where no outlet stands on its fence.

    It runs along the fence on one side of the breaks, past every break, and on to the nearest
    outlet where none stands on that length.

    Parameters
    ----------
    paddock : Polygon
    angle : float
        Direction in which the breaks follow each other [radians].
    upper : bool
        Whether the lane is on the left of that direction, or on its right.
    width_m : float
    outlets : array of float, shape (n, 2)
        Where stock of this paddock drink.
    """
    fence, first, last = _side_fence(paddock, angle, upper)
    spots = shapely.points(outlets)
    on = shapely.distance(fence, spots) <= _ON_FENCE_M
    if not on.any():
        return shapely.Polygon()
    along = shapely.line_locate_point(fence, spots[on])
    beyond = np.maximum(first - along, along - last)
    nearest = float(along[np.argmin(beyond)])
    start, end = min(first, nearest - width_m), max(last, nearest + width_m)
    line = ops.substring(fence, max(start, 0.0), min(end, fence.length))
    lane = paddock.intersection(line.buffer(width_m, join_style="mitre", cap_style="square"))
    # Past a thin neck the width reaches ground that the fence itself does not touch.
    parts = [part for part in shapely.get_parts(lane) if part.distance(line) < 1e-6]
    return max(parts, key=lambda part: part.area, default=shapely.Polygon())


def _side_fence(
    paddock: shapely.Polygon, angle: float, upper: bool
) -> tuple[shapely.LineString, float, float]:
    """Return the outer fence on one side, end to end, and the length that sides the strips."""
    origin = paddock.centroid.coords[0]
    turned = affinity.rotate(paddock, -angle, origin, use_radians=True)
    ring = shapely.get_coordinates(shapely.orient_polygons(turned).exterior)[:-1]
    start, end = int(np.argmin(ring[:, 0])), int(np.argmax(ring[:, 0]))
    if upper:
        start, end = end, start
    steps = (end - start) % len(ring)
    chain = ring[(start + np.arange(steps + 1)) % len(ring)]
    run, rise = np.abs(np.diff(chain, axis=0)).T
    flat = np.flatnonzero(rise <= _STEEP * run)
    length = np.concatenate([[0.0], np.cumsum(np.hypot(run, rise))])
    sides = (length[flat[0]], length[flat[-1] + 1]) if len(flat) else (0.0, length[-1])
    line = affinity.rotate(shapely.LineString(chain), angle, origin, use_radians=True)
    return line, float(sides[0]), float(sides[1])
