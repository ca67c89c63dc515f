"""How columns of the result files are laid out: tables, text columns, decimals written."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt

from dewpond.base.model import Plan

LEVEL, LENGTH, FLOW, LITRES, AREA, SHARE = 3, 2, 3, 1, 4, 4
SIZE, PRESSURE, SPEED, POWER, MONEY = 2, 2, 3, 1, 2
"""Decimals written: millimetre, centimetre, millilitre a minute, decilitre, square metre; of a
bore in mm, of bar, of m/s, of W, of money."""


def table(
    plan: Plan, columns: Mapping[str, Any], geometry: Sequence[Any] | npt.NDArray[np.object_]
) -> gpd.GeoDataFrame:
    """Return columns and shapes as a layer in the working CRS of the plan."""
    shapes = np.empty(len(geometry), dtype=object)
    shapes[:] = list(geometry)
    return gpd.GeoDataFrame(dict(columns), geometry=shapes, crs=plan.holding.crs)


def figures(values: npt.ArrayLike, decimals: int) -> npt.NDArray[np.float64]:
    """Return figures as written: rounded, and missing where there is none or no limit."""
    array = np.asarray(values, dtype=float)
    return np.where(np.isfinite(array), array.round(decimals), np.nan)


def sentences(notes: Sequence[str]) -> str:
    """Join notes into one text, each without its full stop, a semicolon between."""
    return "; ".join(note.strip().removesuffix(".") for note in notes if note.strip())


def texts(values: Sequence[Any]) -> npt.NDArray[np.object_]:
    """Return an object array, so that a column of tuples or of no rows stays what it is."""
    array = np.empty(len(values), dtype=object)
    array[:] = list(values)
    return array
