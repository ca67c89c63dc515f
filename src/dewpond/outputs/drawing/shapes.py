"""Polygons and lines of the plan as artists of the drawing library."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.patches import PathPatch
from matplotlib.path import Path


def path_of(shapes: Iterable[shapely.Geometry]) -> Path:
    """Return the polygons among some shapes, holes and all, as one path."""
    parts = shapely.get_parts(shapely.get_parts(np.array(list(shapes), dtype=object)))
    polygons = parts[shapely.get_type_id(parts) == shapely.GeometryType.POLYGON.value]
    # Holes show as holes only where they wind against their outer ring.
    rings = [
        Path(shapely.get_coordinates(ring), closed=True)
        for polygon in shapely.normalize(polygons)
        for ring in (polygon.exterior, *polygon.interiors)
    ]
    return Path.make_compound_path(*rings) if rings else Path(np.empty((0, 2)))


def draw_polygons(
    axes: Axes, shapes: Iterable[shapely.Geometry], **style: Any
) -> PathPatch | None:
    """Draw polygons as one patch; None when there are none."""
    path = path_of(shapes)
    if not np.size(path.vertices):
        return None
    patch = PathPatch(path, **style)
    axes.add_patch(patch)
    return patch


def draw_lines(
    axes: Axes, shapes: Iterable[shapely.Geometry], **style: Any
) -> LineCollection | None:
    """Draw lines, and the outlines of polygons, as one collection; None when there are none."""
    parts = shapely.get_parts(np.array(list(shapes), dtype=object))
    polygons = shapely.get_type_id(parts) == shapely.GeometryType.POLYGON.value
    parts[polygons] = shapely.boundary(parts[polygons])
    lines = shapely.get_parts(parts)
    lines = lines[shapely.get_dimensions(lines) == 1]
    if not len(lines):
        return None
    collection = LineCollection([shapely.get_coordinates(line) for line in lines], **style)
    axes.add_collection(collection, autolim=False)
    return collection
