"""Crossings of tracks and watercourses, each counted once however the lines are cut.

Pipe that follows a track or a stream lies on one side of it, the side from which more corridors
join. A corridor that joins from the other side crosses there; one that joins from that side does
not; one that passes from side to side crosses. So a way along the graph pays once each time it
changes sides, whether or not lines happen to meet on the feature itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely

from dewpond.base.surface import FloatArray
from dewpond.steps.corridors.linework import ObjectArray

# Nearer than this to the line of a track or stream, a corridor is on it [m].
_ON_IT_M = 1.5
# A lane drawn as a polygon is crossed by a way that comes this near its middle, as a share of
# area / perimeter, which is half the width of a long lane.
_DEEP_SHARE = 0.6


def count_crossings(corridors: ObjectArray, features: gpd.GeoDataFrame) -> npt.NDArray[np.intp]:
    """Return how often each corridor crosses features.

    Parameters
    ----------
    corridors : array of LineString, shape (m,)
    features : GeoDataFrame
        Lines and polygons of tracks or watercourses. A way that ends inside a polygon does not
        cross it.
    """
    shapes = np.asarray(features.geometry.array, dtype=object)
    parts = shapely.force_2d(shapely.get_parts(shapely.get_parts(shapes)))
    dimension = shapely.get_dimensions(parts)
    lines = shapely.get_parts(shapely.line_merge(shapely.union_all(parts[dimension == 1])))
    count = np.zeros(len(corridors), dtype=np.intp)
    if len(lines):
        count += _across_lines(corridors, lines[shapely.get_type_id(lines) == 1])
    if (dimension == 2).any():
        joined = shapely.get_parts(shapely.union_all(parts[dimension == 2]))
        count += _across_polygons(corridors, joined)
    return count


@dataclass(frozen=True)
class _Contact:
    """A stretch of one corridor on one feature, with the side it comes from and goes to.

    A side is +1 (left of the feature as drawn), -1 (right), or None where the corridor begins
    or ends on the feature.
    """

    corridor: int
    feature: int
    before: int | None
    after: int | None
    touches: bool


def _across_lines(corridors: ObjectArray, lines: ObjectArray) -> npt.NDArray[np.intp]:
    strips = shapely.buffer(lines, _ON_IT_M)
    corridor, feature = shapely.STRtree(corridors).query(strips, predicate="intersects")[::-1]
    within = shapely.covered_by(corridors[corridor], strips[feature])
    pairs = sorted(zip(corridor[~within].tolist(), feature[~within].tolist(), strict=True))
    contacts = [
        contact for c, f in pairs for contact in _contacts(c, f, corridors[c], lines[f], strips[f])
    ]
    sides = _laid_sides(contacts, len(lines))
    count = np.zeros(len(corridors), dtype=np.intp)
    for contact in contacts:
        count[contact.corridor] += _crosses(contact, sides[contact.feature])
    return count


def _contacts(
    corridor: int,
    feature: int,
    way: shapely.LineString,
    line: shapely.LineString,
    strip: shapely.Polygon,
) -> list[_Contact]:
    """Follow a corridor and return each of its stretches within the strip round a feature."""
    edges = shapely.get_coordinates(shapely.intersection(way, strip.boundary))
    marks = np.unique(shapely.line_locate_point(way, shapely.points(edges)))
    stops = np.unique(np.concatenate([[0.0], marks, [way.length]]))
    middles = shapely.line_interpolate_point(way, (stops[:-1] + stops[1:]) / 2)
    on = shapely.intersects(strip, middles)
    found = []
    first = np.flatnonzero(on & ~np.r_[False, on[:-1]])
    last = np.flatnonzero(on & ~np.r_[on[1:], False])
    for a, b in zip(first, last, strict=True):
        before = _side(way, line, stops[a]) if a > 0 else None
        after = _side(way, line, stops[b + 1]) if b + 1 < len(on) else None
        if (before is None) == (after is None) or not _at_tip(way, line, before is None):
            touches = _meets(way, line, stops[a], stops[b + 1])
            found.append(_Contact(corridor, feature, before, after, touches))
    return found


def _side(way: shapely.LineString, line: shapely.LineString, measure: float) -> int:
    """Return on which side of a feature a place on the way lies: +1 left, -1 right."""
    place = way.interpolate(measure)
    at = line.project(place)
    back, ahead = line.interpolate(max(at - _ON_IT_M, 0.0)), line.interpolate(at + _ON_IT_M)
    turn = (ahead.x - back.x) * (place.y - back.y) - (ahead.y - back.y) * (place.x - back.x)
    return 1 if turn >= 0 else -1


def _at_tip(way: shapely.LineString, line: shapely.LineString, at_start: bool) -> bool:
    """Tell whether a corridor begins (or ends) at a loose end of a feature, going round it."""
    if line.is_closed:
        return False
    at = line.project(shapely.get_point(way, 0 if at_start else -1))
    return bool(at <= _ON_IT_M or at >= line.length - _ON_IT_M)


def _meets(
    way: shapely.LineString, line: shapely.LineString, start_m: float, stop_m: float
) -> bool:
    shared = shapely.intersection(way, line)
    if shared.is_empty:
        return False
    at = shapely.line_locate_point(way, shapely.points(shapely.get_coordinates(shared)))
    return bool(((at >= start_m) & (at <= stop_m)).any())


def _laid_sides(contacts: Sequence[_Contact], features: int) -> FloatArray:
    """Return the side on which pipe along each feature lies: the one with more joins."""
    balance = np.zeros(features)
    for contact in contacts:
        if (contact.before is None) != (contact.after is None):
            balance[contact.feature] += contact.before or contact.after or 0
    return np.where(balance >= 0, 1.0, -1.0)


def _crosses(contact: _Contact, laid_side: float) -> bool:
    if contact.before is None and contact.after is None:
        return False
    if contact.before is None or contact.after is None:
        return (contact.before or contact.after) != laid_side
    return contact.before != contact.after and contact.touches


def _across_polygons(corridors: ObjectArray, polygons: ObjectArray) -> npt.NDArray[np.intp]:
    half_width = shapely.area(polygons) / np.maximum(shapely.length(polygons), 1e-9)
    cores = shapely.buffer(polygons, -_DEEP_SHARE * half_width)
    feature, corridor = shapely.STRtree(corridors).query(cores, predicate="intersects")
    count = np.zeros(len(corridors), dtype=np.intp)
    for f, c in zip(feature, corridor, strict=True):
        inside = shapely.get_parts(
            shapely.line_merge(shapely.intersection(corridors[c], polygons[f]))
        )
        ends = shapely.points(shapely.get_coordinates(corridors[c])[[0, -1]])
        within = ends[shapely.contains(polygons[f], ends)]
        deep = shapely.intersects(inside, cores[f])
        ending = np.array([(shapely.distance(part, within) < 1e-6).any() for part in inside])
        count[c] += int((deep & ~ending).sum())
    return count
