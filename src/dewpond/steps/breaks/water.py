"""How each break gets its water: by a hose from an outlet, or by a lane back to one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from dewpond.base.profile import ground_lengths_m
from dewpond.base.surface import FloatArray, Surface
from dewpond.base.words import words
from dewpond.steps.breaks.ways import Room, room

_INSIDE_M = 0.05
_AT_FENCE_M = 1.0
_SEAM_M = 0.005
_NOWHERE_M = 1e-6
_GRID = 6
_TRIES = 12
_PIECE_M = 25.0
"""Outlines are measured at every vertex and at points at most so far apart."""


@dataclass(frozen=True)
class Outlet:
    """An outlet as stock of one paddock come to it: its node and where they stand."""

    node: str
    easting_m: float
    northing_m: float

    @property
    def at(self) -> FloatArray:
        """Easting and northing, shape (2,)."""
        return np.array([self.easting_m, self.northing_m])


@dataclass(frozen=True)
class Limits:
    """What water must not exceed: walk to the trough and length of hose [m]."""

    walk_m: float
    hose_m: float


@dataclass(frozen=True, eq=False)
class Water:
    """The water of one break; without an outlet where none can serve it.

    Attributes
    ----------
    outlet : str
        Name of the node, empty without one.
    trough : array of float, shape (2,)
        NaN without one.
    hose : LineString or None
        From outlet to trough; None where the trough stands at the outlet.
    hose_m, walk_m : float
        Along the ground; walk to the farthest ground of the break.
    reason : str
        Why the break is not watered, empty where it is.
    """

    outlet: str
    trough: FloatArray
    hose: shapely.LineString | None
    hose_m: float
    walk_m: float
    reason: str


def dry(reason: str) -> Water:
    """Return what a break has that no outlet can serve."""
    return Water("", np.array([np.nan, np.nan]), None, 0.0, np.nan, reason)


@dataclass(frozen=True, eq=False)
class _Case:
    """One break, one outlet, and the ground between them."""

    strip: shapely.Geometry
    inside: Room
    paddock: Room
    outlet: Outlet
    limits: Limits
    surface: Surface

    def offer(self) -> Water:
        """Return the water by the shortest hose with which no walk is too long."""
        start = _onto(self.paddock.shape, self.outlet.at)
        if shapely.distance(self.strip, shapely.Point(start)) <= _INSIDE_M:
            first = self.trough_at(_onto(self.strip, start), None, 0.0)
        else:
            first = self.best_of(_entries(self.strip, self.paddock, start), 1, start)
        if not first.reason or first.hose_m > self.limits.hose_m:
            return first
        deeper = self.best_of(_grid(self.strip), _TRIES, start)
        return min(first, deeper, key=lambda offer: _burden(offer, self.limits))

    def best_of(self, spots: FloatArray, tries: int, start: FloatArray) -> Water:
        """Try places for the trough, shortest hose first, until one leaves no walk too long."""
        ways = self.paddock.ways_from(start, spots)
        reached = [(hose, spot) for hose, spot in zip(ways, spots, strict=True) if hose]
        if not reached:
            return dry(words("breaks.water.no_way_from_outlet"))
        lengths = _lengths_m([hose for hose, _ in reached], self.surface)
        order = np.argsort(lengths, kind="stable")
        allowed = order[lengths[order] <= self.limits.hose_m]
        chosen = allowed if len(allowed) else order[:1]
        if len(chosen) > tries:
            chosen = chosen[np.linspace(0, len(chosen) - 1, tries).astype(np.intp)]
        offers: list[Water] = []
        for i in chosen:
            hose, spot = reached[i]
            offers.append(self.trough_at(spot, hose, float(lengths[i])))
            if not offers[-1].reason:
                break
        return min(offers, key=lambda offer: _burden(offer, self.limits))

    def trough_at(self, spot: FloatArray, hose: shapely.LineString | None, hose_m: float) -> Water:
        """Return the water of the break with its trough at a place."""
        walk_m = _farthest_m(self.inside, spot, self.strip, self.surface)
        reason = _too_far(walk_m, self.limits.walk_m)
        if hose_m > self.limits.hose_m:
            reason = words(
                "breaks.water.hose_too_short", needed_m=hose_m, longest_m=self.limits.hose_m
            )
        return Water(self.outlet.node, spot, hose, hose_m, walk_m, reason)


def water_by_hose(
    strip: shapely.Geometry,
    paddock: Room,
    outlets: Sequence[Outlet],
    limits: Limits,
    surface: Surface,
) -> Water:
    """Return the trough that a hose brings into a break: least hose, then least walk."""
    if not outlets:
        return dry(words("breaks.water.no_outlet_for_paddock"))
    inside = room(strip)
    offers = [_Case(strip, inside, paddock, outlet, limits, surface).offer() for outlet in outlets]
    return min(offers, key=lambda offer: _burden(offer, limits))


def water_by_lane(
    strip: shapely.Geometry,
    lane: shapely.Geometry,
    outlets: Sequence[Outlet],
    limits: Limits,
    surface: Surface,
) -> Water:
    """Return the outlet, on the lane or on its own fence, that stock of a break walk to."""
    if not outlets:
        return dry(words("breaks.water.no_outlet_for_paddock"))
    # The seam between break and lane is closed by half a centimetre, or rounding would part them.
    ground = shapely.union_all([strip.buffer(_SEAM_M), lane.buffer(_SEAM_M)])
    inside = room(ground)
    offers = []
    for outlet in outlets:
        if shapely.distance(ground, shapely.Point(outlet.at)) > _AT_FENCE_M:
            continue
        walk_m = _farthest_m(inside, _onto(ground, outlet.at), strip, surface)
        reason = _too_far(walk_m, limits.walk_m)
        offers.append(Water(outlet.node, outlet.at, None, 0.0, walk_m, reason))
    if not offers:
        return dry(words("breaks.water.no_outlet_on_lane_or_fence"))
    best = min(offers, key=lambda offer: _burden(offer, limits))
    return best if np.isfinite(best.walk_m) else dry(words("breaks.water.lane_too_short"))


def _entries(strip: shapely.Geometry, paddock: Room, start: FloatArray) -> FloatArray:
    """Return the places of an outline at which a shortest way from outside can arrive.

    The last straight part meets the outline at a vertex or at right angles to one of its edges.
    """
    outline = shapely.get_coordinates(strip.boundary)
    edges = np.concatenate([
        np.stack([ring[:-1], ring[1:]], axis=1)
        for part in shapely.get_parts(strip)
        for ring in map(shapely.get_coordinates, shapely.get_rings(part))
    ])  # fmt: skip
    along = edges[:, 1] - edges[:, 0]
    bends = np.vstack([start, paddock.corners])
    # Of every bend the one edge that is nearest: farther ones lie behind it or are reached by
    # their ends.
    share = np.einsum("bed,ed->be", bends[:, None] - edges[None, :, 0], along)
    share = np.clip(share / np.maximum((along**2).sum(axis=1), 1e-12), 0.0, 1.0)
    feet = edges[None, :, 0] + share[..., None] * along
    nearest = np.argmin(((feet - bends[:, None]) ** 2).sum(axis=2), axis=1)
    return np.vstack([outline, feet[0], feet[np.arange(len(bends)), nearest]])


def _grid(strip: shapely.Geometry) -> FloatArray:
    """Return places spread over a break, where a trough may stand to shorten the walk."""
    west, south, east, north = strip.bounds
    share = (np.arange(_GRID) + 0.5) / _GRID
    x, y = np.meshgrid(west + share * (east - west), south + share * (north - south))
    inside = shapely.contains_xy(strip, x.ravel(), y.ravel())
    middle = shapely.get_coordinates(strip.representative_point())
    return np.vstack([middle, np.column_stack([x.ravel()[inside], y.ravel()[inside]])])


def _farthest_m(
    inside: Room, start: FloatArray, strip: shapely.Geometry, surface: Surface
) -> float:
    """Return the walk to the farthest ground of a break [m], infinite where some is cut off."""
    outline = shapely.get_coordinates(shapely.segmentize(strip.boundary, _PIECE_M))
    ways = inside.ways_from(start, outline)
    found = [way for way in ways if way is not None]
    if len(found) < len(ways):
        return float("inf")
    return float(_lengths_m(found, surface).max())


def _lengths_m(ways: Sequence[shapely.LineString], surface: Surface) -> FloatArray:
    """Return lengths along the ground [m]; a way that goes nowhere has none."""
    lines = np.array(ways)
    lengths = np.zeros(len(lines))
    real = shapely.length(lines) > _NOWHERE_M
    lengths[real] = ground_lengths_m(lines[real], surface)
    return lengths


def _too_far(walk_m: float, limit_m: float) -> str:
    if walk_m <= limit_m:
        return ""
    if not np.isfinite(walk_m):
        return words("breaks.water.part_cut_off")
    return words("breaks.water.walk_over_limit", walk_m=walk_m, limit_m=limit_m)


def _burden(offer: Water, limits: Limits) -> tuple[bool, float, float]:
    """Return what to keep small: what exceeds a limit first, then hose and walk together."""
    walk_m = float(np.nan_to_num(offer.walk_m, nan=np.inf))
    over = max(offer.hose_m - limits.hose_m, 0.0) + max(walk_m - limits.walk_m, 0.0)
    return (bool(offer.reason), over, offer.hose_m + walk_m)


def _onto(shape: shapely.Geometry, at: FloatArray) -> FloatArray:
    """Return the nearest place of a shape."""
    point = shapely.Point(at)
    if shape.covers(point):
        return at
    nearest: FloatArray = shapely.get_coordinates(shapely.shortest_line(shape, point))[0]
    return nearest
