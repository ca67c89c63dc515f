"""The ways to cut one paddock into breaks with water, and how good each is."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
import shapely
from shapely import ops

from dewpond.base.settings import BreaksSettings
from dewpond.base.surface import Surface
from dewpond.base.units import SQUARE_METRES_PER_HECTARE
from dewpond.base.words import words
from dewpond.steps.breaks.lanes import lane_along
from dewpond.steps.breaks.strips import equal_strips, polygons_of
from dewpond.steps.breaks.water import Limits, Outlet, Water, water_by_hose, water_by_lane
from dewpond.steps.breaks.ways import room

_SCRAP = 0.05
"""Share of a break below which ground that a lane cuts off is left to the lane."""
_FENCE_M = 0.005
_GRID_M = 0.001
_SAME_WAY = math.radians(10)
_CHORD_M = 30.0


@dataclass(frozen=True, eq=False)
class Division:
    """One way of cutting a paddock: breaks in their order, their water, and the lane."""

    paddock: int
    strips: list[shapely.Geometry]
    water: list[Water]
    lane: shapely.Geometry
    fence: shapely.Geometry

    def rank(self) -> tuple[float, ...]:
        """Return what to keep small, first things first."""
        dry = sum(bool(water.reason) for water in self.water)
        pieces = sum(len(shapely.get_parts(strip)) - 1 for strip in self.strips)
        way_m = sum(w.hose_m + np.nan_to_num(w.walk_m, nan=1e6, posinf=1e6) for w in self.water)
        return (dry, pieces, round(way_m), self.fence.length)

    def from_water(self) -> Division:
        """Return the breaks in order from the end that lies nearer to its water."""
        ways = [w.hose_m + np.nan_to_num(w.walk_m, nan=np.inf) for w in self.water]
        if len(ways) < 2 or ways[0] <= ways[-1]:
            return self
        return replace(self, strips=self.strips[::-1], water=self.water[::-1])


def divide_by_hose(
    paddock: int,
    shape: shapely.Geometry,
    outlets: Sequence[Outlet],
    limits: Limits,
    settings: BreaksSettings,
    surface: Surface,
) -> list[Division]:
    """Return the ways to cut a paddock whose breaks get water by hose."""
    serve = partial(
        water_by_hose, paddock=room(shape), outlets=outlets, limits=limits, surface=surface
    )
    return [
        _divide(paddock, shape, shapely.Polygon(), angle, settings, serve)
        for angle in _angles(shape, outlets, settings)
    ]


def divide_by_lane(
    paddock: int,
    shape: shapely.Geometry,
    outlets: Sequence[Outlet],
    limits: Limits,
    settings: BreaksSettings,
    surface: Surface,
) -> list[Division]:
    """Return the ways to cut a paddock whose stock walk back along a lane, on either side."""
    spots = np.array([outlet.at for outlet in outlets]).reshape(-1, 2)
    options = []
    for angle in _angles(shape, outlets, settings):
        for upper in (False, True):
            lane = shapely.union_all([
                lane_along(part, angle, upper, settings.lane_width_m, spots)
                for part in shapely.get_parts(shape)
            ])  # fmt: skip
            serve = partial(
                water_by_lane, lane=lane, outlets=outlets, limits=limits, surface=surface
            )
            options.append(_divide(paddock, shape, lane, angle, settings, serve))
    return options


def _divide(
    paddock: int,
    shape: shapely.Geometry,
    lane: shapely.Geometry,
    angle: float,
    settings: BreaksSettings,
    serve: Callable[[shapely.Geometry], Water],
) -> Division:
    """Cut what a lane leaves of a paddock, part by part, and bring water into each break."""
    ground = (
        shape if lane.is_empty else polygons_of(shapely.difference(shape, lane, grid_size=_GRID_M))
    )
    parts = sorted(shapely.get_parts(ground), key=lambda part: -float(part.area))
    if not lane.is_empty:
        least_m2 = _SCRAP * ground.area / _count(shape.area, settings)
        parts = [part for part in parts if part.area >= least_m2]
        # Also without the scraps the breaks and the lane make up the paddock.
        lane = polygons_of(shapely.difference(shape, shapely.union_all(parts)))
    strips = [
        strip
        for part, count in zip(parts, _counts(parts, shape.area, settings), strict=True)
        for strip in equal_strips(part, count, angle)
    ]
    water = [serve(strip) for strip in strips]
    return Division(paddock, strips, water, lane, _temporary_fence(shape, strips))


def _counts(
    parts: Sequence[shapely.Geometry], whole_m2: float, settings: BreaksSettings
) -> list[int]:
    """Return the breaks of each part: breaks of one size, and one at least."""
    count = _count(whole_m2, settings)
    if len(parts) == 1:
        return [count]
    fair = sum(part.area for part in parts) / count
    return [max(1, round(part.area / fair)) for part in parts]


def _count(area_m2: float, settings: BreaksSettings) -> int:
    """Return the number of breaks for an area: as asked, or nearest to the size asked for."""
    if settings.moves is not None:
        return int(settings.moves)
    return max(1, round(area_m2 / SQUARE_METRES_PER_HECTARE / (settings.target_ha or 1.0)))


def _angles(
    shape: shapely.Geometry, outlets: Sequence[Outlet], settings: BreaksSettings
) -> list[float]:
    """Return the directions in which breaks may follow each other, each once [radians]."""
    long_side = _long_side(shape)
    beside = [_fence_way(shape, outlet) for outlet in outlets]
    wanted = {
        words("breaks.divide.across_the_long_side"): [long_side],
        words("breaks.divide.square_to_the_water_fence"): beside or [long_side],
    }.get(settings.strips, [long_side, long_side + math.pi / 2, *beside])
    kept: list[float] = []
    for angle in wanted:
        apart = [abs((angle - other + math.pi / 2) % math.pi - math.pi / 2) for other in kept]
        if not apart or min(apart) > _SAME_WAY:
            kept.append(angle)
    return kept


def _long_side(shape: shapely.Geometry) -> float:
    corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(shape))
    sides = np.diff(corners[:3], axis=0)
    x, y = sides[int(np.argmax(np.hypot(*sides.T)))]
    return math.atan2(y, x)


def _fence_way(shape: shapely.Geometry, outlet: Outlet) -> float:
    """Return the way the fence runs past an outlet, over a length that evens out its wiggles."""
    point = shapely.Point(outlet.at)
    rings = [part.exterior for part in shapely.get_parts(shape)]
    ring = min(rings, key=lambda ring: ring.distance(point))
    at, length = ring.project(point), ring.length
    chord = min(_CHORD_M, length / 8)
    first, last = (ring.interpolate((at + step) % length) for step in (-chord, chord))
    return math.atan2(last.y - first.y, last.x - first.x)


def _temporary_fence(
    shape: shapely.Geometry, strips: Sequence[shapely.Geometry]
) -> shapely.Geometry:
    """Return the outlines of breaks that no standing fence makes."""
    outlines = shapely.union_all([strip.boundary for strip in strips])
    loose = shapely.difference(outlines, shape.boundary.buffer(_FENCE_M))
    lines = loose if isinstance(loose, shapely.LineString) else ops.linemerge(loose)
    return lines if lines.length > 0 else shapely.LineString()
