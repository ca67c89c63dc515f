"""Ground along lines: points at the posting of the elevation data, and lengths over them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

from dewpond.base.surface import FloatArray, Surface

IntArray = npt.NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class GroundProfiles:
    """Points along lines, line after line, each line from its start to its end.

    Attributes
    ----------
    line : array of int, shape (n,)
        Position of the line that each point lies on, ascending.
    easting_m, northing_m : arrays of float, shape (n,)
        Every vertex of the line, and between vertices points at most one posting apart.
    ground_level_m : array of float, shape (n,)
        Height of the ground [m], NaN where no raster knows.
    distance_m : array of float, shape (n,)
        Distance along the ground from the start of the line [m]; where a height is not known,
        the ground is taken as level.
    """

    line: IntArray
    easting_m: FloatArray
    northing_m: FloatArray
    ground_level_m: FloatArray
    distance_m: FloatArray

    def of(self, position: int) -> slice:
        """Return where the points of one line stand in the arrays."""
        start, end = np.searchsorted(self.line, [position, position + 1])
        return slice(int(start), int(end))


def ground_profiles(lines: npt.ArrayLike, surface: Surface) -> GroundProfiles:
    """Sample the ground along lines at the posting of the surface.

    Parameters
    ----------
    lines : array_like of LineString, shape (m,)
        In the working CRS of the surface.
    surface : Surface
    """
    dense = shapely.segmentize(np.asarray(lines, dtype=object), surface.posting_m)
    coordinates, line = shapely.get_coordinates(dense, return_index=True)
    easting, northing = coordinates[:, 0], coordinates[:, 1]
    height = surface.heights_m(easting, northing)
    step = _steps_m(easting, northing, height)
    step[np.flatnonzero(np.diff(line)) + 1] = 0.0
    distance = np.cumsum(step)
    first = np.searchsorted(line, line)
    return GroundProfiles(line, easting, northing, height, distance - distance[first])


def ground_lengths_m(lines: npt.ArrayLike, surface: Surface) -> FloatArray:
    """Return the length of each line along the ground [m], shape (m,)."""
    lines = np.asarray(lines, dtype=object)
    if lines.size == 0:
        return np.empty(0)
    profiles = ground_profiles(lines, surface)
    last = np.searchsorted(profiles.line, np.arange(lines.size), side="right") - 1
    return profiles.distance_m[last]


def _steps_m(easting: FloatArray, northing: FloatArray, height: FloatArray) -> FloatArray:
    """Return the distance of each point from the one before it, zero for the first."""
    rise = np.nan_to_num(np.diff(height), nan=0.0)
    step = np.sqrt(np.diff(easting) ** 2 + np.diff(northing) ** 2 + rise**2)
    return np.concatenate([[0.0], step])
