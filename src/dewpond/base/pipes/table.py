"""Tables of pipe, prices and fittings."""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from dewpond.base.errors import Fault, InputError
from dewpond.base.pipes.strength import (
    WORKING_SHARE_WITHOUT_SURGE,
    pressure_class_bar,
    rated_pressure_bar,
    temperature_factor,
)
from dewpond.base.tables import Column, packaged_table, read_table
from dewpond.base.units import head_m_from_bar

_PIPE_COLUMNS = {
    "material": Column(),
    "outside_diameter_mm": Column("number", least=1.0, most=2000.0),
    "sdr": Column("number", blank=True, least=2.5, most=100.0),
    "wall_mm": Column("number", least=0.1, most=500.0),
    "mrs_mpa": Column("number", blank=True, least=0.5, most=50.0),
    "pressure_class_bar": Column("number", blank=True, least=0.5, most=100.0),
    "source": Column(),
}
_PRICE_COLUMNS = {
    "material": Column(),
    "outside_diameter_mm": Column("number", least=1.0, most=2000.0),
    "sdr": Column("number", least=2.5, most=100.0),
    "price_per_m": Column("number", least=0.0),
    "currency": Column(),
    "source": Column(),
}
_FITTING_COLUMNS = {
    "name": Column(),
    "kind": Column(choices=("fitting", "float valve")),
    "loss_coefficient": Column("number", blank=True, least=0.0),
    "seat_bore_mm": Column("number", blank=True, least=0.5, most=200.0),
    "discharge_coefficient": Column("number", blank=True, least=0.05, most=1.0),
    "source": Column(),
}
_FITTING_NEEDS = {
    "fitting": ("loss_coefficient",),
    "float valve": ("seat_bore_mm", "discharge_coefficient"),
}


@dataclass(frozen=True)
class PipeSize:
    """One pipe that can be bought.

    Attributes
    ----------
    material : str
    outside_diameter_mm, wall_mm : float
        Wall: the least that the standard allows; a thicker one narrows the bore.
    sdr : float
        Outside diameter over wall, as the standard names it [-].
    pressure_class_bar : float
        Nominal pressure at 20 °C [bar].
    source : str
    price_per_m : float or None
    """

    material: str
    outside_diameter_mm: float
    wall_mm: float
    sdr: float
    pressure_class_bar: float
    source: str
    price_per_m: float | None = None

    @property
    def bore_mm(self) -> float:
        """Inside diameter [mm]."""
        return self.outside_diameter_mm - 2.0 * self.wall_mm

    @property
    def name(self) -> str:
        """Size and class as it is asked for in the trade."""
        return (
            f"{self.material} {self.outside_diameter_mm:g} mm SDR {self.sdr:g} "
            f"PN {self.pressure_class_bar:g}"
        )


def working_head_m(size: PipeSize, temperature_c: float = 20.0) -> float:
    """Return the head that a pipe may carry, surge included, at a wall temperature [m].

    The head of 10 °C water that stands for the class, times `temperature_factor`.
    """
    return head_m_from_bar(size.pressure_class_bar) * temperature_factor(temperature_c)


def working_head_without_surge_m(size: PipeSize, temperature_c: float = 20.0) -> float:
    """Return 72 % of `working_head_m` [m], the limit on static head where surge is not worked out.

    Source: method of ASAE S376.1 as given by NRCS Missouri, 1997.
    """
    return WORKING_SHARE_WITHOUT_SURGE * working_head_m(size, temperature_c)


def read_pipe_table(
    path: str | Path | None = None, prices: str | Path | None = None
) -> tuple[PipeSize, ...]:
    """Return the pipe sizes of a table, by material, diameter, then thinnest wall first.

    Parameters
    ----------
    path : str or Path, optional
        CSV with columns ``material``, ``outside_diameter_mm``, ``sdr`` (may be blank),
        ``wall_mm``, ``mrs_mpa`` and ``pressure_class_bar`` (one of the two may be blank) and
        ``source``. Left out, PE80 and PE100 as EN 12201-2 and ISO 4427-2 list them.
    prices : str or Path, optional
        CSV with columns ``material``, ``outside_diameter_mm``, ``sdr``, ``price_per_m``,
        ``currency``, ``source``. Left out, invented sample prices; a size that the list does not
        name keeps None.

    Raises
    ------
    InputError
        Every fault of both tables at once: a missing column or value, text for a number, a
        number out of range, a wall too thick for its diameter, a size given twice.
    """
    faults: list[Fault] = []
    price_of = _prices(prices, faults)
    table = _table(path, "pipes.csv", _PIPE_COLUMNS, faults)
    sizes: dict[tuple[str, float, float], PipeSize] = {}
    for number, row in enumerate(table.to_dict("records"), start=1):
        where = f"{Path(path or 'pipes.csv').name}, row {number}"
        size = _pipe_size(where, row, price_of, faults)
        if size is None:
            continue
        key = (size.material, size.outside_diameter_mm, size.sdr)
        if key in sizes:
            faults.append(Fault(where, "gives a size that stands above", found=size.name))
        sizes[key] = size
    if faults:
        raise InputError(faults)
    return tuple(sizes[key] for key in sorted(sizes, key=lambda item: (*item[:2], -item[2])))


def _table(
    path: str | Path | None, packaged: str, columns: Mapping[str, Column], faults: list[Fault]
) -> pd.DataFrame:
    """Return a table of the user's or of the package, empty after noting its faults."""
    try:
        return packaged_table(packaged, columns) if path is None else read_table(path, columns)
    except InputError as error:
        faults.extend(error.faults)
        return pd.DataFrame(columns=list(columns))


def _prices(path: str | Path | None, faults: list[Fault]) -> dict[tuple[str, float, float], float]:
    """Return prices a metre by material, outside diameter and SDR."""
    table = _table(path, "pipe_prices.csv", _PRICE_COLUMNS, faults)
    keys = zip(table["material"], table["outside_diameter_mm"], table["sdr"], strict=True)
    return dict(zip(keys, table["price_per_m"], strict=True))


def _pipe_size(
    where: str,
    row: Mapping[Hashable, Any],
    price_of: Mapping[tuple[str, float, float], float],
    faults: list[Fault],
) -> PipeSize | None:
    """Return the pipe of one row, or None after noting what is wrong with it."""
    diameter, wall, stated = row["outside_diameter_mm"], row["wall_mm"], row["pressure_class_bar"]
    if 2.0 * wall >= diameter:
        half = f"less than {diameter / 2.0:g}"
        faults.append(Fault(f"{where}, wall_mm", "fills the pipe", f"{wall:g}", half))
        return None
    sdr = diameter / wall if math.isnan(row["sdr"]) else row["sdr"]
    if math.isnan(stated):
        if math.isnan(row["mrs_mpa"]):
            remedy = "give mrs_mpa or pressure_class_bar"
            faults.append(Fault(where, "says nothing of its strength", remedy=remedy))
            return None
        stated = pressure_class_bar(rated_pressure_bar(row["mrs_mpa"], sdr))
    price = price_of.get((row["material"], diameter, sdr))
    return PipeSize(row["material"], diameter, wall, sdr, stated, row["source"], price)


@dataclass(frozen=True)
class FloatValve:
    """A trough's float valve: bore of the seat [mm] and its discharge coefficient [-]."""

    name: str
    seat_bore_mm: float
    discharge_coefficient: float
    source: str


def read_fittings(
    path: str | Path | None = None,
) -> tuple[dict[str, float], tuple[FloatValve, ...]]:
    """Return loss coefficients K by name of fitting, and the float valves, of a table.

    Parameters
    ----------
    path : str or Path, optional
        CSV with columns ``name``, ``kind`` ("fitting" or "float valve"), ``loss_coefficient``
        (of a fitting), ``seat_bore_mm`` and ``discharge_coefficient`` (of a float valve),
        ``source``. Left out, K of EPA/600/R-20/133 and valves of common practice.

    Raises
    ------
    InputError
        Every fault of the table at once.
    """
    faults: list[Fault] = []
    table = _table(path, "fittings.csv", _FITTING_COLUMNS, faults)
    losses: dict[str, float] = {}
    valves: list[FloatValve] = []
    for number, row in enumerate(table.to_dict("records"), start=1):
        needed = _FITTING_NEEDS[row["kind"]]
        values = [row[column] for column in needed]
        if any(math.isnan(value) for value in values):
            where = f"{Path(path or 'fittings.csv').name}, row {number}"
            faults.append(Fault(where, f"a {row['kind']} needs {' and '.join(needed)}"))
        elif row["kind"] == "fitting":
            losses[row["name"]] = values[0]
        else:
            valves.append(FloatValve(row["name"], values[0], values[1], row["source"]))
    if faults:
        raise InputError(faults)
    return losses, tuple(valves)
