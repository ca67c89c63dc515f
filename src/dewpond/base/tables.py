"""Tables of published values and prices: CSV files with a unit and a source, read and checked.

The package's own tables lie in ``dewpond/data``; a table of the user goes through the same check.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Literal

import pandas as pd

from dewpond.base.errors import Fault, InputError, nearest_name

Cell = str | float | bool | None

_BLANKS: Mapping[str, Cell] = {"text": "", "number": math.nan, "yes or no": None}


@dataclass(frozen=True)
class Column:
    """What may stand in one column of a table.

    Attributes
    ----------
    kind : {"text", "number", "yes or no"}
        Type of the values.
    blank : bool
        Whether a cell may be left empty (read as "" for text, NaN for a number, None else).
    least, most : float
        Smallest and largest number allowed.
    choices : tuple of str
        The texts allowed; empty for any.
    """

    kind: Literal["text", "number", "yes or no"] = "text"
    blank: bool = False
    least: float = -math.inf
    most: float = math.inf
    choices: tuple[str, ...] = ()


def read_table(path: str | Path, columns: Mapping[str, Column]) -> pd.DataFrame:
    """Read a CSV file (UTF-8, header in the first row) and check every cell.

    Parameters
    ----------
    path : str or Path
    columns : mapping of str to Column
        The columns that must stand in the file; others are refused, so that a misspelt one is
        not passed over.

    Returns
    -------
    DataFrame
        Row labels 0 to n-1 in the order of the file, columns in the order of `columns`.

    Raises
    ------
    InputError
        With one fault for each column or cell that will not do; all at once.
    """
    path = Path(path)
    try:
        with path.open(encoding="utf-8-sig", newline="") as lines:
            return _checked(csv.reader(lines), path.name, columns)
    except OSError as error:
        fault = Fault(str(path), f"cannot be read ({error.strerror or error})", "", "a CSV table")
        raise InputError([fault]) from error
    except (UnicodeDecodeError, csv.Error) as error:
        fault = Fault(str(path), f"is not a CSV table: {error}", remedy="save it as CSV in UTF-8")
        raise InputError([fault]) from error


def packaged_table(name: str, columns: Mapping[str, Column]) -> pd.DataFrame:
    """Read a table of published values that comes with the package, checked like any other."""
    return read_table(Path(str(files("dewpond") / "data" / name)), columns)


def _checked(rows: Iterator[list[str]], where: str, columns: Mapping[str, Column]) -> pd.DataFrame:
    header = [cell.strip() for cell in next(rows, [])]
    faults = _header_faults(header, where, columns)
    if faults:
        raise InputError(faults)
    values: dict[str, list[Cell]] = {name: [] for name in columns}
    for number, row in enumerate(rows, start=2):
        if not any(cell.strip() for cell in row):
            continue
        if len(row) != len(header):
            faults.append(
                Fault(
                    f"{where}, line {number}",
                    "has the wrong number of cells",
                    found=str(len(row)),
                    expected=str(len(header)),
                    remedy="put text with a comma in double quotes",
                )
            )
            continue
        for name, cell in zip(header, row, strict=True):
            value, fault = _value(cell.strip(), columns[name], f"{where}, line {number}, {name}")
            values[name].append(value)
            faults.extend(fault)
    if not faults and not values[header[0]]:
        faults.append(Fault(where, "holds no rows"))
    if faults:
        raise InputError(faults)
    return pd.DataFrame({name: _series(cells, columns[name]) for name, cells in values.items()})


def _header_faults(
    header: Sequence[str], where: str, columns: Mapping[str, Column]
) -> list[Fault]:
    faults = [
        Fault(
            f"{where}, line 1",
            f'column "{name}" is missing',
            expected="the columns " + ", ".join(columns),
        )
        for name in columns
        if name not in header
    ]
    faults += [
        Fault(
            f"{where}, line 1",
            f'"{name}" is not a column of this table',
            remedy=nearest_name(name, columns),
        )
        for name in header
        if name not in columns
    ]
    repeated = sorted({name for name in header if header.count(name) > 1})
    faults += [Fault(f"{where}, line 1", f'column "{name}" stands twice') for name in repeated]
    return faults


def _value(text: str, column: Column, where: str) -> tuple[Cell, list[Fault]]:
    if not text:
        if column.blank:
            return _BLANKS[column.kind], []
        return None, [Fault(where, "is empty", expected=_expected(column))]
    value: Cell = text
    if column.kind == "number":
        value = _number(text)
        good = isinstance(value, float) and column.least <= value <= column.most
    elif column.kind == "yes or no":
        value = {"yes": True, "no": False}.get(text.lower())
        good = value is not None
    else:
        good = not column.choices or text in column.choices
    if good:
        return value, []
    remedy = nearest_name(text, column.choices) if column.choices else ""
    return None, [Fault(where, "will not do", f'"{text}"', _expected(column), remedy)]


def _number(text: str) -> float | None:
    try:
        value = float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def _expected(column: Column) -> str:
    if column.kind == "yes or no":
        return "yes or no"
    if column.kind == "text":
        return "one of the valid names" if column.choices else "a text"
    bounds = [
        f"at least {column.least:g}" if column.least > -math.inf else "",
        f"at most {column.most:g}" if column.most < math.inf else "",
    ]
    return " ".join(["a number", *filter(None, [" and ".join(filter(None, bounds))])])


def _series(cells: Sequence[Cell], column: Column) -> pd.Series:
    if column.kind == "number":
        return pd.Series(cells, dtype=float)
    return pd.Series(cells, dtype=object)
