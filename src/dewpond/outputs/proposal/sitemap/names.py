"""Places where a name may be written; the page picks among them at every zoom."""

from __future__ import annotations

from collections.abc import Sequence

import geopandas as gpd
import numpy as np
import shapely
import shapely.ops

from dewpond.outputs.proposal.sitemap.frame import Frame

Places = list[tuple[float, float]]

_GRID = 9
_KEPT = 8
_LONGEST = 26
_ALONG = (0.5, 0.35, 0.65, 0.2, 0.8)


def short(name: str) -> str:
    """Return a name as it stands on the map: on one line, and not too long for it."""
    line = " ".join("".join(c if c.isprintable() else " " for c in name).split())
    return line if len(line) <= _LONGEST else line[: _LONGEST - 1].rstrip() + "…"


def inside(shape: shapely.Geometry, pipes: shapely.Geometry, frame: Frame) -> Places:
    """Return places inside a paddock, roomiest first, well apart from each other.

    Room is the distance to the nearest fence or pipe; of a paddock in several parts the largest
    is named.
    """
    part = max(shapely.get_parts(shape), key=shapely.area)
    west, south, east, north = part.bounds
    x, y = np.meshgrid(
        np.linspace(west, east, _GRID + 2)[1:-1], np.linspace(south, north, _GRID + 2)[1:-1]
    )
    middle = shapely.ops.polylabel(part, max(part.area**0.5 / 50, 0.01))
    points = shapely.points(np.append(middle.x, x.ravel()), np.append(middle.y, y.ravel()))
    points = points[shapely.contains(part, points)]
    if not len(points):
        points = np.array([part.representative_point()])
    room = np.minimum(
        shapely.distance(points, part.boundary),
        shapely.distance(points, pipes) * 1.5 if not pipes.is_empty else np.inf,
    )
    return _spread(points, room, 0.12 * part.area**0.5, frame)


def _spread(points: np.ndarray, room: np.ndarray, apart_m: float, frame: Frame) -> Places:
    kept: list[shapely.Point] = []
    for i in np.argsort(-room, kind="stable"):
        if all(points[i].distance(other) >= apart_m for other in kept):
            kept.append(points[i])
        if len(kept) == _KEPT:
            break
    return [frame.place(point.x, point.y) for point in kept]


def along(line: shapely.LineString, frame: Frame) -> Places:
    """Return places along a pipe, its middle first."""
    found = [line.interpolate(share, normalized=True) for share in _ALONG]
    return [frame.place(point.x, point.y) for point in found]


def steps_aside(
    points: Sequence[shapely.Point], owners: Sequence[str], pipes: gpd.GeoDataFrame
) -> list[tuple[float, float]]:
    """Return for things on the pipe a direction and rank to draw them aside by.

    Several things stand at one fork, or under an outlet: each is drawn a little along its own
    pipe, the next one of that pipe a little farther. The lengths are in steps of the symbol, x
    right and y down; the page gives the step its size.
    """
    lines = dict(zip(pipes["name"], pipes.geometry, strict=True))
    ends = shapely.union_all([
        shapely.Point(line.coords[end]) for line in lines.values() for end in (0, -1)
    ])  # fmt: skip
    taken: dict[tuple[str, int, int], int] = {}
    steps = []
    for point, owner in zip(points, owners, strict=True):
        place = (owner, round(point.x), round(point.y))
        rank = taken[place] = taken.get(place, -1) + 1
        at_end = bool(lines) and ends.distance(point) < 1.0
        length = rank + 1.4 if at_end else float(rank)
        x, y = _heading(lines[owner], point) if owner in lines else (1.0, 0.0)
        steps.append((round(length * x, 3), round(-length * y, 3)))
    return steps


def _heading(line: shapely.LineString, point: shapely.Point) -> tuple[float, float]:
    """Return the direction from a point on a line towards its farther end."""
    at, step = line.project(point), min(10.0, line.length / 4)
    way = step if at <= line.length / 2 else -step
    ahead = line.interpolate(min(max(at + way, 0.0), line.length))
    x, y = ahead.x - point.x, ahead.y - point.y
    size = float(np.hypot(x, y)) or 1.0
    return x / size, y / size
