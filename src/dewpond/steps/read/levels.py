"""Levels taken on site: read from a table or a GPX file, checked, carried to the working CRS."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pandas as pd
import pyproj
from pyproj.exceptions import CRSError

from dewpond.base.errors import Fault, InputError, nearest_name
from dewpond.base.settings import TerrainSettings, VectorFile
from dewpond.base.surface import transformer
from dewpond.base.tables import Column, read_table
from dewpond.base.units import METRES_PER_FOOT
from dewpond.base.words import words
from dewpond.steps.read.files import is_readable, locate, record_digests
from dewpond.steps.read.notes import Notes
from dewpond.steps.read.vectors import open_layer

_WHERE = "[terrain], levels"
_DEGREES = pyproj.CRS.from_epsg(4326)
_PLACES = (("easting", "northing"), ("lon", "lat"))
_TABLE_DEVIATION_M = 0.05
"""Deviation of a level in a table that does not give it: levelled from a bench mark, or by a
satellite receiver with corrections; common practice, no source."""


def read_levels(
    terrain: TerrainSettings, crs: pyproj.CRS, folder: Path, notes: Notes
) -> pd.DataFrame | None:
    """Return the levels taken on site, None where there are none or none can be used.

    Parameters
    ----------
    terrain : TerrainSettings
    crs : pyproj.CRS
        Working CRS, in which easting and northing of a table are taken to be where
        ``levels_crs`` does not say otherwise.
    folder : Path
    notes : Notes

    Returns
    -------
    DataFrame or None
        As `Holding.levels`, with ``label`` for messages.
    """
    if terrain.levels is None or not is_readable(terrain.levels, folder, _WHERE, notes):
        return None
    suffix = Path(terrain.levels).suffix.lower()
    before = len(notes.faults)
    if suffix == ".gpx":
        table = _from_gpx(terrain, folder, notes)
    elif suffix == ".csv":
        table = _from_table(terrain, crs, folder, notes)
    else:
        notes.fault(
            _WHERE, f"the file {terrain.levels} is neither a table nor GPX",
            found=f'"{suffix}"', expected="a .csv or a .gpx file",
        )  # fmt: skip
        return None
    if table is None or len(notes.faults) > before:
        return None
    return _placed(table, crs, notes)


def _from_gpx(terrain: TerrainSettings, folder: Path, notes: Notes) -> pd.DataFrame | None:
    """Return waypoints with their heights; GPX 1.1 has degrees of WGS 84 and metres."""
    written = str(terrain.levels)
    if terrain.levels_deviation_m is None:
        notes.fault(
            "[terrain], levels_deviation_m",
            f"is missing, and {written} does not say how good its heights are",
            expected="the standard deviation of the heights [m]",
            remedy="a hand-held receiver by itself may be 5 to 10 m out, which helps no plan; one "
            "with corrections from a base or a network is within 0.02 to 0.05 m",
        )
    layer = open_layer(VectorFile(path=written, layer="waypoints"), folder, _WHERE, notes)
    if layer is None:
        return None
    if layer.frame.empty:
        notes.fault(written, "holds no waypoint", expected="<wpt> with <ele>",
                    remedy="save the points as waypoints, not as a track or route")  # fmt: skip
        return None
    frame = layer.frame
    point = frame.geometry
    names = frame["name"] if "name" in frame else pd.Series("", index=frame.index)
    table = pd.DataFrame(
        {
            "name": names.fillna("").astype(str).str.strip(),
            "x": point.x.to_numpy(),
            "y": point.y.to_numpy(),
            "level_m": pd.to_numeric(frame["ele"], errors="coerce").to_numpy(dtype=float),
            "deviation_m": terrain.levels_deviation_m or 0.0,
        }
    )
    table["label"] = [
        _label(f"{written}, waypoint", n, row) for n, row in enumerate(table["name"])
    ]
    for label in table.loc[table["level_m"].isna(), "label"]:
        notes.fault(str(label), "has no height", expected="<ele> in metres",
                    remedy="take it out of the file, or level it")  # fmt: skip
    table.attrs["crs"] = _DEGREES
    return table


def _label(kind: str, number: int, name: object) -> str:
    return f"{kind} {number + 1}" + (f' ("{name}")' if name else "")


def _from_table(
    terrain: TerrainSettings, crs: pyproj.CRS, folder: Path, notes: Notes
) -> pd.DataFrame | None:
    """Return the rows of a CSV table that hold a level; rows still to be levelled are left out."""
    written = str(terrain.levels)
    path = locate(written, folder)
    record_digests(written, [], folder, notes)
    header = _header(path)
    place = next((pair for pair in _PLACES if set(pair) & header), _PLACES[0])
    bound = 180.0 if place == ("lon", "lat") else np.inf
    columns = {
        "name": Column(blank=True),
        **{name: Column("number", least=-bound, most=bound) for name in place},
        "level": Column("number", blank=True),
    }
    extra = {"deviation": Column("number", blank=True, least=0.0), "note": Column(blank=True)}
    columns |= {name: column for name, column in extra.items() if name in header}
    for name in sorted(header - set(columns)):
        notes.fault(f"{written}, line 1", f'"{name}" is not a column of this table',
                    remedy=nearest_name(name, [*columns, *extra]))  # fmt: skip
    if header - set(columns):
        return None
    own = _crs_of(place, terrain.levels_crs, crs, written, notes)
    try:
        rows = read_table(path, columns)
    except InputError as error:
        notes.faults.extend(_spelled(fault, written) for fault in error.faults)
        return None
    return _levelled_rows(rows, place, own, terrain, notes) if own is not None else None


def _levelled_rows(
    rows: pd.DataFrame,
    place: tuple[str, str],
    own: pyproj.CRS,
    terrain: TerrainSettings,
    notes: Notes,
) -> pd.DataFrame | None:
    written = str(terrain.levels)
    metres = METRES_PER_FOOT if terrain.levels_unit == "foot" else 1.0
    usual = terrain.levels_deviation_m
    usual = _TABLE_DEVIATION_M if usual is None else usual
    deviation = pd.Series(np.nan, index=rows.index)
    deviation = rows.get("deviation", deviation) * metres
    table = pd.DataFrame(
        {
            "name": rows["name"].astype(str),
            "x": rows[place[0]],
            "y": rows[place[1]],
            "level_m": rows["level"] * metres,
            "deviation_m": deviation.fillna(usual),
        }
    )
    table["label"] = [_label(f"{written}, row", n, row) for n, row in enumerate(table["name"])]
    blank = table["level_m"].isna()
    if blank.all():
        notes.fault(written, "holds no level", found="the column level empty in every row",
                    expected="a level in at least one row")  # fmt: skip
        return None
    if blank.any():
        waiting = words("levels.waiting", file=written, count=int(blank.sum()), rows=len(table))
        notes.warnings.append(waiting)
    table = table[~blank].reset_index(drop=True)
    table.attrs["crs"] = own
    return table


def _header(path: Path) -> set[str]:
    """Return the column names of a CSV file, empty where it cannot be read at all."""
    try:
        with path.open(encoding="utf-8-sig", newline="") as lines:
            return {cell.strip() for cell in next(csv.reader(lines), [])}
    except (OSError, UnicodeDecodeError, csv.Error):
        return set()  # the table reader tells what is wrong with it


def _spelled(fault: Fault, written: str) -> Fault:
    """Return a fault of the table reader with the path as the project file has it."""
    name = Path(written).name
    where = fault.where.replace(name, written, 1) if fault.where.startswith(name) else fault.where
    return Fault(where, fault.problem, fault.found, fault.expected, fault.remedy)


def _crs_of(
    place: tuple[str, str], given: str | None, crs: pyproj.CRS, written: str, notes: Notes
) -> pyproj.CRS | None:
    """Return the CRS of a table's coordinates; the working one where nothing else is said."""
    if place == ("lon", "lat"):
        return _DEGREES
    if given is None:
        return None if crs.is_geographic else crs  # degrees: no working CRS could be chosen
    try:
        own = pyproj.CRS.from_user_input(given).to_2d()
    except CRSError:
        notes.fault("[terrain], levels_crs", "is not a known CRS", found=f'"{given}"',
                    expected="for instance EPSG:27700")  # fmt: skip
        return None
    if own.is_geographic:
        notes.fault("[terrain], levels_crs", f"is in degrees, where {written} holds easting and "
                    "northing", found=f'"{given}"', expected="a projected CRS",
                    remedy="or name the columns lon and lat")  # fmt: skip
        return None
    return own


def _placed(table: pd.DataFrame, crs: pyproj.CRS, notes: Notes) -> pd.DataFrame | None:
    own: pyproj.CRS = table.attrs["crs"]
    x, y = table["x"].to_numpy(float), table["y"].to_numpy(float)
    easting, northing = (np.asarray(v, dtype=float) for v in transformer(own, crs).transform(x, y))
    lost = ~(np.isfinite(easting) & np.isfinite(northing))
    for row in np.flatnonzero(lost):
        notes.fault(str(table["label"].iloc[row]), f"has coordinates that do not fit {own.name}",
                    found=f"[{x[row]:g}, {y[row]:g}]", expected=_order(own))  # fmt: skip
    if lost.any():
        return None
    placed = table[["name", "level_m", "deviation_m", "label"]].copy()
    placed.insert(1, "easting_m", easting)
    placed.insert(2, "northing_m", northing)
    placed.attrs = {}
    return placed


def _order(crs: pyproj.CRS) -> str:
    return "longitude, then latitude" if crs.is_geographic else "easting, then northing"
