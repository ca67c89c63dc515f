"""The tables of many holdings as GeoPackage, GeoParquet and CSV, written as rows arrive.

No more than a few thousand rows are held at any time, whatever their number in all.
"""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import IO, Any

import geopandas as gpd
import pandas as pd
import pyogrio
import shapely

from dewpond.base.errors import OutputError
from dewpond.base.repeatable_sqlite import settle_geopackage
from dewpond.outputs.register.cells import plain_cell
from dewpond.outputs.register.columns import SHAPES, TABLES, Kind

FILES = (
    "results.gpkg",
    *(f"{table}.{ending}" for table in TABLES for ending in ("parquet", "csv")),
)
"""Files that a register consists of."""

_ROWS_AT_ONCE = 2_000
_CRS = "EPSG:4326"
_TYPES: dict[Kind, str] = {
    "text": "object", "whole": "Int64", "number": "float64", "yes or no": "boolean",
}  # fmt: skip

_UNWRITTEN = (
    pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError, pyogrio.errors.FeatureError,
)  # fmt: skip

Row = dict[str, Any]


class Register:
    """Takes rows and writes them on; `close` completes the files.

    Parameters
    ----------
    folder : Path
        An empty folder for the files, `FILES`.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._held: dict[str, list[Row]] = {table: [] for table in TABLES}
        self._begun: set[str] = set()
        self._csv: dict[str, IO[str]] = {}
        self._parquet: dict[str, Any] = {}

    def add(self, rows: dict[str, list[Row]]) -> None:
        """Take the rows of one holding.

        Raises
        ------
        OSError, sqlite3.Error
            When a file cannot be written.
        """
        for table, more in rows.items():
            held = self._held[table]
            held.extend(more)
            if len(held) >= _ROWS_AT_ONCE:
                self._flush(table)

    def close(self) -> None:
        """Write what is held and complete the files; raises as `add`."""
        for table in TABLES:
            if self._held[table] or table not in self._begun:
                self._flush(table)
        self._release()
        settle_geopackage(self._folder / "results.gpkg")

    def abandon(self) -> None:
        """Let go of the files without completing them."""
        self._release()

    def _release(self) -> None:
        for stream in self._csv.values():
            stream.close()
        for writer in self._parquet.values():
            writer.close()
        self._csv, self._parquet = {}, {}

    def _flush(self, table: str) -> None:
        rows, self._held[table] = self._held[table], []
        frame = _frame(table, rows)
        _append_geopackage(frame, self._folder / "results.gpkg", table, table in self._begun)
        self._append_parquet(table, frame)
        self._append_csv(table, rows)
        self._begun.add(table)

    def _append_csv(self, table: str, rows: list[Row]) -> None:
        if table not in self._csv:
            path = self._folder / f"{table}.csv"
            self._csv[table] = path.open("w", encoding="utf-8", newline="")
            csv.writer(self._csv[table], lineterminator="\n").writerow(_csv_columns(table))
        writer = csv.writer(self._csv[table], lineterminator="\n")
        for row in rows:
            writer.writerow([plain_cell(value) for value in (*_plain(table, row),)])

    def _append_parquet(self, table: str, frame: pd.DataFrame) -> None:
        # Slow to import, and only a batch needs it.
        import pyarrow as arrow
        from pyarrow import parquet

        schema = _schema(table)
        if table not in self._parquet:
            path = self._folder / f"{table}.parquet"
            self._parquet[table] = parquet.ParquetWriter(path, schema, compression="zstd")
        columns = frame.drop(columns="geometry") if table in SHAPES else frame
        arrays = [
            arrow.Array.from_pandas(columns[name], type=schema.field(name).type)
            for name in columns
        ]
        if table in SHAPES:
            arrays.append(arrow.array(list(frame.geometry.to_wkb()), type=arrow.binary()))
        self._parquet[table].write_table(arrow.Table.from_arrays(arrays, schema=schema))


def _csv_columns(table: str) -> list[str]:
    """Return the columns of the CSV: of shapes only points stand in it, as two numbers."""
    return [*TABLES[table], *(("longitude", "latitude") if SHAPES.get(table) == "Point" else ())]


def _plain(table: str, row: Row) -> list[Any]:
    values = [row[name] for name in TABLES[table]]
    if SHAPES.get(table) != "Point":
        return values
    shape = shapely.from_wkb(row["geometry"])
    return [*values, *((None, None) if shape is None else (shape.x, shape.y))]


def _frame(table: str, rows: list[Row]) -> pd.DataFrame:
    columns = {
        name: pd.Series([row[name] for row in rows], dtype=_TYPES[kind])
        for name, kind in TABLES[table].items()
    }
    if table not in SHAPES:
        return pd.DataFrame(columns)
    shapes = shapely.from_wkb([row["geometry"] for row in rows])
    return gpd.GeoDataFrame(columns, geometry=shapes, crs=_CRS)


def _append_geopackage(frame: pd.DataFrame, path: Path, table: str, append: bool) -> None:
    options: dict[str, Any] = {"SPATIAL_INDEX": "YES"} if table in SHAPES and not append else {}
    try:
        pyogrio.write_dataframe(
            frame, path, layer=table, driver="GPKG", append=append or path.exists(),
            geometry_type=SHAPES.get(table), **options,
        )  # fmt: skip
    except _UNWRITTEN as error:
        raise OutputError(f"{path.name}: {error}") from error


def _schema(table: str) -> Any:
    """Return the columns as Arrow types with the metadata of GeoParquet 1.1.

    Source: Open Geospatial Consortium, GeoParquet specification 1.1.0, file metadata key "geo"
    (from memory); without ``crs`` coordinates are longitude and latitude (OGC:CRS84).
    """
    import pyarrow as arrow

    types = {
        "text": arrow.string(), "whole": arrow.int64(), "number": arrow.float64(),
        "yes or no": arrow.bool_(),
    }  # fmt: skip
    fields = [arrow.field(name, types[kind]) for name, kind in TABLES[table].items()]
    if table not in SHAPES:
        return arrow.schema(fields)
    geometry = {"encoding": "WKB", "geometry_types": [SHAPES[table]]}
    described = {
        "version": "1.1.0", "primary_column": "geometry", "columns": {"geometry": geometry},
    }  # fmt: skip
    return arrow.schema(
        [*fields, arrow.field("geometry", arrow.binary())],
        metadata={"geo": json.dumps(described)},
    )
