"""Features as a GeoPackage: one layer per kind, in the working CRS of the holding."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import geopandas as gpd
import pyogrio

from dewpond.base.repeatable_sqlite import settle_geopackage

_POLYGON_KINDS = {"paddock", "uncovered", "break"}
_LINE_KINDS = {"pipe", "hose"}


def write_geopackage(layers: Mapping[str, gpd.GeoDataFrame], path: Path) -> None:
    """Write every layer, also those without features, so that a saved project finds them all.

    Parameters
    ----------
    layers : mapping of str to GeoDataFrame
        By kind. Lists are written as text, their items separated by a semicolon.
    path : Path
        A file that does not exist yet.

    Raises
    ------
    OSError, pyogrio.errors.DataSourceError, sqlite3.Error
        When the file cannot be written.
    """
    for position, (kind, layer) in enumerate(layers.items()):
        polygons = kind in _POLYGON_KINDS
        pyogrio.write_dataframe(
            _as_text(layer),
            path,
            layer=kind,
            driver="GPKG",
            append=position > 0,
            geometry_type=(
                "MultiPolygon" if polygons else "LineString" if kind in _LINE_KINDS else "Point"
            ),
            promote_to_multi=polygons,
            SPATIAL_INDEX="YES",
        )
    settle_geopackage(path)


def _as_text(layer: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Join lists into text; GeoPackage has no list type."""
    texts = {
        column: layer[column].map(
            lambda value: "; ".join(value) if isinstance(value, tuple) else value
        )
        for column in layer.columns
        if column != layer.geometry.name and layer[column].dtype == object
    }
    return layer.assign(**texts)
