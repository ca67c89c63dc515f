"""Places worth trying for an outlet: along fences, at junctions and corners, and on open ground.

A place is a row with ``easting_m``, ``northing_m``, ``paddocks`` (tuple of ids it could serve)
and ``kind``. Places follow the fences and not the axes, so they turn and shift with the holding.
"""

from __future__ import annotations

import itertools
import math

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely

from dewpond.base.surface import FloatArray

# A bend at least this sharp is a corner of the fence [degrees].
_CORNER_DEGREES = 45.0
# Corners nearer to one another than this share of the spacing count once.
_CORNER_SPACING_SHARE = 0.25
# Lattice points nearer to the fence than this share of the spacing have fence places beside them.
_INSET_SHARE = 0.21
# A length that is a whole number of spacings but for rounding is divided as if it were exact.
_ROUNDING = 1e-6
# Finer division of a stretch of fence beside a place that was struck out.
_FINER = 4


def fence_places(fences: gpd.GeoDataFrame, spacing_m: float) -> pd.DataFrame:
    """Return places along every fence no farther apart than a spacing [m], ends included.

    Each fence is divided at its corners and every stretch between into equal parts. Columns as
    the module says, and ``fence`` (row label) and ``measure_m``; in order along each fence. A
    ring ends where it starts; that place comes twice.
    """
    rows = [
        _along(label, line, _divide(line, spacing_m))
        for label, line in zip(fences.index, fences.geometry, strict=True)
    ]
    return _with_paddocks(pd.concat(rows, ignore_index=True), fences)


def finer_places(
    places: pd.DataFrame, struck: npt.NDArray[np.bool_], fences: gpd.GeoDataFrame
) -> pd.DataFrame:
    """Return further places, four times as close, beside those that a rule struck out.

    Without them one gateway or steep bank would put the nearest outlet a whole spacing away.
    """
    fence = places["fence"].to_numpy()
    measure = places["measure_m"].to_numpy()
    beside = np.flatnonzero((fence[1:] == fence[:-1]) & (struck[1:] | struck[:-1]))
    shares = np.arange(1, _FINER) / _FINER
    between = measure[beside, None] + shares * (measure[beside + 1] - measure[beside])[:, None]
    labels = np.repeat(fence[beside], len(shares))
    lines = fences.geometry.loc[labels].to_numpy()
    points = shapely.get_coordinates(shapely.line_interpolate_point(lines, between.ravel()))
    extra = pd.DataFrame(
        {
            "easting_m": points[:, 0],
            "northing_m": points[:, 1],
            "fence": labels,
            "measure_m": between.ravel(),
        }
    )
    return _with_paddocks(extra, fences)


def inside_places(paddocks: gpd.GeoDataFrame, spacing_m: float) -> pd.DataFrame:
    """Return a square lattice of places within each paddock, centred on its extent."""
    frames = [
        _lattice(int(label), shape, spacing_m)
        for label, shape in zip(paddocks.index, paddocks.geometry, strict=True)
    ]
    columns = ["easting_m", "northing_m", "paddocks", "kind"]
    return pd.concat(frames, ignore_index=True) if frames else pd.DataFrame(columns=columns)


def merge_places(places: pd.DataFrame) -> pd.DataFrame:
    """Return each place once, serving every paddock that its repeats serve (a junction, say)."""
    grouped = places.groupby(["easting_m", "northing_m"], sort=False, as_index=False)
    merged: pd.DataFrame = grouped.agg(
        paddocks=("paddocks", lambda sides: tuple(sorted({p for side in sides for p in side}))),
        kind=("kind", "first"),
    )
    return merged


def _along(label: int, line: shapely.LineString, measures_m: FloatArray) -> pd.DataFrame:
    points = shapely.get_coordinates(shapely.line_interpolate_point(line, measures_m))
    # Ends are taken over as they are: fences that meet must agree on them to the last digit.
    points[0], points[-1] = line.coords[0], line.coords[-1]
    return pd.DataFrame(
        {
            "easting_m": points[:, 0],
            "northing_m": points[:, 1],
            "fence": label,
            "measure_m": measures_m,
        }
    )


def _with_paddocks(places: pd.DataFrame, fences: gpd.GeoDataFrame) -> pd.DataFrame:
    sides = fences["paddocks"].loc[places["fence"]].to_numpy()
    return places.assign(paddocks=sides, kind="fence")


def _divide(line: shapely.LineString, spacing_m: float) -> FloatArray:
    """Return distances along a line that divide it at its corners and evenly between [m]."""
    breaks = np.r_[0.0, _corners(line, _CORNER_SPACING_SHARE * spacing_m), line.length]
    parts = [
        np.linspace(start, stop, max(1, math.ceil((stop - start) / spacing_m - _ROUNDING)) + 1)
        for start, stop in itertools.pairwise(breaks)
    ]
    measures: FloatArray = np.r_[0.0, np.concatenate([part[1:] for part in parts])]
    return measures


def _corners(line: shapely.LineString, apart_m: float) -> list[float]:
    """Return distances to the sharp bends of a line, thinned in the direction of the line."""
    vertices = shapely.get_coordinates(line)
    legs = np.diff(vertices, axis=0)
    measures = np.cumsum(np.hypot(legs[:, 0], legs[:, 1]))[:-1]
    headings = np.arctan2(legs[:, 1], legs[:, 0])
    turns = np.abs(np.mod(np.diff(headings) + np.pi, 2 * np.pi) - np.pi)
    kept: list[float] = []
    for measure in measures[turns >= math.radians(_CORNER_DEGREES)]:
        if measure - (kept[-1] if kept else 0.0) >= apart_m and line.length - measure >= apart_m:
            kept.append(float(measure))
    return kept


def _lattice(label: int, shape: shapely.Geometry, spacing_m: float) -> pd.DataFrame:
    west, south, east, north = shape.bounds
    across = _centred(west, east, spacing_m)
    up = _centred(south, north, spacing_m)
    easting, northing = (axis.ravel() for axis in np.meshgrid(across, up))
    points = shapely.points(easting, northing)
    clear = shapely.distance(shape.boundary, points) > _INSET_SHARE * spacing_m
    keep = clear & shapely.contains_xy(shape, easting, northing)
    return pd.DataFrame(
        {
            "easting_m": easting[keep],
            "northing_m": northing[keep],
            "paddocks": [(label,)] * int(keep.sum()),
            "kind": "inside",
        }
    )


def _centred(low: float, high: float, spacing_m: float) -> FloatArray:
    count = math.floor((high - low) / 2 / spacing_m)
    steps = np.arange(-count, count + 1, dtype=np.float64)
    axis: FloatArray = (low + high) / 2 + spacing_m * steps
    return axis
