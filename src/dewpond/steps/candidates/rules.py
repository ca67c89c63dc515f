"""The rules that strike out places for an outlet."""

from __future__ import annotations

from collections.abc import Mapping

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely

from dewpond.base.model import Holding, Terrain
from dewpond.base.settings import SitingSettings
from dewpond.base.surface import FloatArray, interpolate

KEEP_OUT = "keep-out"
FORBIDDEN = "forbidden ground"
GATEWAY = "gateway"
WATERCOURSE = "watercourse"
STEEP = "steep ground"
NO_HEIGHT = "no height known"
RULES = (KEEP_OUT, FORBIDDEN, GATEWAY, WATERCOURSE, STEEP, NO_HEIGHT)

# A fence drawn along the edge of a wood or yard is on that edge, not within it [m].
_EDGE_M = 0.1
# A place exactly at the least distance passes, whatever the rounding [m].
_ROUNDING_M = 1e-6


def ground_at(
    holding: Holding, terrain: Terrain, easting_m: FloatArray, northing_m: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return ground level [m] and slope [degrees] at points, NaN where unknown.

    The slope is interpolated between cells, so that a point on the edge of a cell has one slope
    whichever way the holding is turned.
    """
    height_m = holding.surface.heights_m(easting_m, northing_m)
    return height_m, interpolate(terrain.slope_degrees, easting_m, northing_m)


def broken_rules(
    holding: Holding,
    siting: SitingSettings,
    points: npt.NDArray[np.object_],
    height_m: FloatArray,
    slope_degrees: FloatArray,
) -> Mapping[str, npt.NDArray[np.bool_]]:
    """Return for each rule which of the points break it, shape (n points,)."""
    features = holding.features
    known = np.isfinite(height_m) & np.isfinite(slope_degrees)
    return {
        KEEP_OUT: within_keep_out(features.keep_out, points),
        FORBIDDEN: within_keep_out(features.forbidden_ground, points),
        GATEWAY: _nearer_than(features.gates, points, siting.gate_clearance_m),
        WATERCOURSE: _nearer_than(features.watercourses, points, siting.watercourse_clearance_m),
        STEEP: known & (slope_degrees > siting.steepest_degrees),
        NO_HEIGHT: ~known,
    }


def within_keep_out(
    keep_out: gpd.GeoDataFrame, points: npt.NDArray[np.object_]
) -> npt.NDArray[np.bool_]:
    """Tell which points lie within polygons, their very edge not counted."""
    inner = shapely.buffer(keep_out.geometry.to_numpy(), -_EDGE_M)
    return _hits(inner, points, "intersects")


def _nearer_than(
    features: gpd.GeoDataFrame, points: npt.NDArray[np.object_], distance_m: float
) -> npt.NDArray[np.bool_]:
    if distance_m <= _ROUNDING_M:
        return np.zeros(len(points), dtype=np.bool_)
    return _hits(features.geometry.to_numpy(), points, "dwithin", distance_m - _ROUNDING_M)


def _hits(
    shapes: npt.NDArray[np.object_],
    points: npt.NDArray[np.object_],
    predicate: str,
    distance_m: float | None = None,
) -> npt.NDArray[np.bool_]:
    hits = np.zeros(len(points), dtype=np.bool_)
    if len(shapes):
        tree = shapely.STRtree(shapes)
        hits[tree.query(points, predicate=predicate, distance=distance_m)[0]] = True
    return hits
