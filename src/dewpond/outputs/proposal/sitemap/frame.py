"""From the working CRS to the page: what the map shows, and shapes as paths of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely

Layers = Mapping[str, gpd.GeoDataFrame]

_MARGIN = 0.04
"""Share of the longer side left free around the holding."""
_TALLEST, _WIDEST = 1.0, 1.6
"""Height over width, and width over height, at most: map and key share a screen, and a page."""
_LEAST_SIDE_M = 50.0
_DECIMETRES_UP_TO_M = 4000.0
"""Width of a map up to which its paths are written to the decimetre, beyond it to the metre."""


@dataclass(frozen=True)
class Frame:
    """The ground that the map shows; one unit of the drawing is one metre, y downwards.

    Attributes
    ----------
    west_m, north_m : float
        The upper left corner, in the working CRS.
    width_m, height_m : float
    """

    west_m: float
    north_m: float
    width_m: float
    height_m: float

    @property
    def extent_m(self) -> tuple[float, float, float, float]:
        """West, south, east, north in the working CRS."""
        south, east = self.north_m - self.height_m, self.west_m + self.width_m
        return self.west_m, south, east, self.north_m

    @property
    def shape(self) -> shapely.Polygon:
        """The frame as a shape in the working CRS."""
        return shapely.box(*self.extent_m)

    @property
    def finest_m(self) -> float:
        """What the eye can tell apart where the whole map is shown; lines are thinned to it."""
        return self.width_m / 4000

    def place(self, easting_m: float, northing_m: float) -> tuple[float, float]:
        """Return where a point stands on the drawing."""
        return round(easting_m - self.west_m, 2), round(self.north_m - northing_m, 2)

    def path(self, shape: shapely.Geometry, tolerance_m: float | None = None) -> str:
        """Return lines or polygons as the data of an SVG path, thinned; empty where out of sight.

        Outer rings and holes run opposite ways, so that the plain filling rule leaves holes open.
        """
        tolerance = self.finest_m if tolerance_m is None else tolerance_m
        thin = shapely.normalize(shape.simplify(tolerance, preserve_topology=True))
        return "".join(self._subpath(part) for part in shapely.get_parts(thin))

    def _subpath(self, part: shapely.Geometry) -> str:
        if part.geom_type == "Polygon":
            return "".join(
                self._line(ring, closed=True) for ring in (part.exterior, *part.interiors)
            )
        if part.geom_type in ("LineString", "LinearRing"):
            return self._line(part, closed=False)
        return ""

    def _line(self, line: shapely.Geometry, *, closed: bool) -> str:
        points = shapely.get_coordinates(line) - (self.west_m, self.north_m)
        points[:, 1] *= -1
        decimals = 1 if self.width_m <= _DECIMETRES_UP_TO_M else 0
        points = np.round(points, decimals) + 0.0  # plus nought: no minus before it
        if closed:
            points = points[:-1]
        if len(points) < 2:
            return ""
        pairs = [f"{x:g} {y:g}" for x, y in points.tolist()]
        return f"M{pairs[0]}L{' '.join(pairs[1:])}{'Z' if closed else ''}"


def frame_of(layers: Layers) -> Frame:
    """Return the frame round paddocks, pipe, outlets and the source in use, with a margin."""
    source = layers["source"].geometry[layers["source"]["feeds_scheme"].to_numpy(bool)]
    boxes = np.array([
        *(layers[kind].total_bounds for kind in ("paddock", "pipe", "outlet")),
        source.total_bounds,
    ])  # fmt: skip
    west, south = np.nanmin(boxes[:, :2], axis=0)
    east, north = np.nanmax(boxes[:, 2:], axis=0)
    margin = 2 * _MARGIN * max(east - west, north - south)
    width = max(east - west + margin, _LEAST_SIDE_M)
    height = max(north - south + margin, _LEAST_SIDE_M)
    width, height = max(width, height / _TALLEST), max(height, width / _WIDEST)
    middle_x, middle_y = (west + east) / 2, (south + north) / 2
    return Frame(
        float(np.round(middle_x - width / 2, 1)), float(np.round(middle_y + height / 2, 1)),
        float(np.round(width, 1)), float(np.round(height, 1)),
    )  # fmt: skip
