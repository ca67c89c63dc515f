"""Ground cut into parts of equal area by straight fences, each part in one piece."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import affinity

from dewpond.base.surface import FloatArray

CRUMB = 0.005
"""Share of a break up to which ground cut off by a wavy fence goes to the next break."""

_TURNS = tuple(math.radians(degrees) for degrees in (0, 90, 45, 135, 22, 68, 112, 158))


@dataclass(frozen=True, eq=False)
class _Frame:
    """Ground turned so that fences run up and breaks follow each other to the right.

    Attributes
    ----------
    ground, turned : Polygon
        As it lies, and turned.
    angle : float
        From the easting axis to the way the breaks follow each other [radians].
    origin : (float, float)
    at, below : arrays of float
        Places along the way at which the outline changes, each with one halfway to the next, and
        the area before each [m2].
    """

    ground: shapely.Polygon
    turned: shapely.Polygon
    angle: float
    origin: tuple[float, float]
    at: FloatArray
    below: FloatArray

    def place_with_area_below(self, area_m2: float) -> float:
        """Return the place at which just so much ground lies before the fence.

        Between two changes of the outline the width is linear and the area quadratic, so three
        values give the place exactly.
        """
        last = len(self.at) - 3
        i = min(int(np.searchsorted(self.below[2::2], area_m2)) * 2, last)
        step = self.at[i + 2] - self.at[i]
        middle, end = self.below[i + 1 : i + 3] - self.below[i]
        bend, slope = 2 * (end - 2 * middle), 4 * middle - end
        wanted = area_m2 - self.below[i]
        root = math.sqrt(max(slope * slope + 4 * bend * wanted, 0.0))
        share = 2 * wanted / (slope + root) if slope + root > 0 else 1.0
        return float(self.at[i] + min(max(share, 0.0), 1.0) * step)

    def between(self, places: Sequence[float]) -> list[shapely.Geometry]:
        """Return the ground between neighbouring fences, turned back."""
        _, south, _, north = self.turned.bounds
        bands = shapely.box(np.array(places[:-1]), south - 1.0, np.array(places[1:]), north + 1.0)
        back = [affinity.rotate(band, self.angle, self.origin, use_radians=True) for band in bands]
        return [polygons_of(shape) for shape in shapely.intersection(self.ground, back)]


def equal_strips(ground: shapely.Polygon, count: int, angle: float) -> list[shapely.Geometry]:
    """Cut ground into a number of breaks of equal area, each in one piece where that can be.

    Straight fences at right angles to one direction are tried first. Where they would leave a
    break in pieces, as in a U or round a wood, the ground is halved by one straight fence that
    leaves both sides in one piece, and each side is cut by itself.

    Parameters
    ----------
    ground : Polygon
    count : int
    angle : float
        Direction in which the breaks follow each other, from the easting axis [radians].

    Returns
    -------
    list of Polygon
        In order; a MultiPolygon where no fence was found that keeps a break in one piece.
    """
    if count == 1:
        return [ground]
    strips = _tidied(_cut(ground, angle, np.arange(1, count) / count))
    if _whole(strips):
        return strips
    for turn in _TURNS:
        for left in sorted(range(1, count), key=lambda n: (abs(2 * n - count), n)):
            sides = _tidied(_cut(ground, angle + turn, np.array([left / count])))
            if _whole(sides):
                counts = (left, count - left)
                return [
                    strip
                    for side, number in zip(sides, counts, strict=True)
                    for strip in equal_strips(side, number, angle)
                ]
    return strips


def polygons_of(shape: shapely.Geometry) -> shapely.Geometry:
    """Return the polygons of a shape without the points and lines where shapes only touch."""
    parts = shapely.get_parts(shape)
    parts = parts[shapely.get_type_id(parts) == shapely.GeometryType.POLYGON.value]
    parts = parts[shapely.area(parts) > 0]
    return parts[0] if len(parts) == 1 else shapely.multipolygons(parts)


def _cut(ground: shapely.Polygon, angle: float, shares: FloatArray) -> list[shapely.Geometry]:
    frame = _frame(ground, angle)
    whole = float(frame.below[-1])
    inner = [frame.place_with_area_below(float(share) * whole) for share in shares]
    west, _, east, _ = frame.turned.bounds
    return frame.between([west - 1.0, *inner, east + 1.0])


def _frame(ground: shapely.Polygon, angle: float) -> _Frame:
    origin = ground.centroid.coords[0]
    turned = affinity.rotate(ground, -angle, origin, use_radians=True)
    if not turned.is_valid:
        # Turning rounds; an outline that touches itself may then cross itself by a hair.
        turned = turned.buffer(0)
    corner = np.unique(np.round(shapely.get_coordinates(turned)[:, 0], 9))
    at = np.empty(2 * len(corner) - 1)
    at[::2], at[1::2] = corner, (corner[:-1] + corner[1:]) / 2
    west, south, _, north = turned.bounds
    before = shapely.box(west - 1.0, south - 1.0, at, north + 1.0)
    below = np.maximum.accumulate(shapely.area(shapely.intersection(turned, before)))
    return _Frame(ground, turned, angle, origin, at, below)


def _tidied(strips: list[shapely.Geometry]) -> list[shapely.Geometry]:
    """Give crumbs that a wavy fence cuts off to the break they lie against."""
    fair = sum(strip.area for strip in strips) / len(strips)
    kept = list(strips)
    for number, strip in enumerate(strips):
        parts = sorted(shapely.get_parts(strip), key=lambda part: -part.area)
        for crumb in parts[1:]:
            others = [i for i in (number - 1, number + 1) if 0 <= i < len(kept)]
            shared = [_shared_m(crumb, kept[i]) for i in others]
            if crumb.area > CRUMB * fair or not shared or max(shared) == 0:
                continue
            taker = others[int(np.argmax(shared))]
            # A hair's breadth wider, or the two would only touch where rounding parts them.
            kept[taker] = polygons_of(_joined(kept[taker], crumb))
            kept[number] = polygons_of(
                shapely.multipolygons(
                    [part for part in shapely.get_parts(kept[number]) if not part.equals(crumb)]
                )
            )
    return kept


def _shared_m(crumb: shapely.Geometry, strip: shapely.Geometry) -> float:
    return float(shapely.intersection(crumb.boundary, strip.buffer(1e-6)).length)


def _joined(strip: shapely.Geometry, crumb: shapely.Geometry) -> shapely.Geometry:
    return shapely.union_all([strip, crumb], grid_size=1e-6)


def _whole(strips: Sequence[shapely.Geometry]) -> bool:
    return all(isinstance(strip, shapely.Polygon) for strip in strips)
