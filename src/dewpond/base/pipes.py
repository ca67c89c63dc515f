"""Pipe that can be bought: sizes, pressure classes, prices, and what pressure each may carry."""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from dewpond.base.errors import Fault, InputError
from dewpond.base.surface import FloatArray
from dewpond.base.tables import Column, packaged_table, read_table
from dewpond.base.units import STANDARD_GRAVITY_M_S2, WATER_DENSITY_KG_M3, head_m_from_bar

DESIGN_COEFFICIENT_WATER = 1.25
"""Overall service coefficient C for water in PE pipe [-], ISO 12162 and EN 12201-1."""

PRESSURE_CLASSES_BAR = (2.5, 3.2, 4.0, 5.0, 6.0, 8.0, 10.0, 12.5, 16.0, 20.0, 25.0)
"""Nominal pressures that polyethylene pipe is classed by [bar] (from memory)."""

_DERATING_C = (20.0, 30.0, 40.0)
_DERATING_FACTOR = (1.0, 0.87, 0.74)  # EN 12201-1 / ISO 4427-1 annex A, from memory

BULK_MODULUS_WATER_PA = 2.1e9
"""Bulk modulus of water at 10 °C [Pa], as tabled in the R package hydraulics."""

SHORT_TERM_MODULUS_PE_PA = 1.0e9
"""Short-term elastic modulus of PE [Pa], 0.8 to 1.0 GPa (from memory); the stiffer is safer."""

WORKING_SHARE_WITHOUT_SURGE = 0.72
"""Share of the class to work at where surge is not worked out: NRCS Missouri, 1997, chapter 5."""

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


def rated_pressure_bar(
    mrs_mpa: float, sdr: float, coefficient: float = DESIGN_COEFFICIENT_WATER
) -> float:
    """Return 20 MRS / (C (SDR - 1)) [bar], the pressure for 50 years at 20 °C (ISO 4427-1).

    Parameters
    ----------
    mrs_mpa : float
        Minimum required strength [MPa]: 8 for PE80, 10 for PE100.
    sdr : float
        Outside diameter over least wall [-].
    coefficient : float
        Overall service coefficient C [-].
    """
    return 20.0 * mrs_mpa / (coefficient * (sdr - 1.0))


def pressure_class_bar(rated_bar: float) -> float:
    """Return the highest nominal pressure that a rated pressure reaches [bar].

    Examples
    --------
    >>> pressure_class_bar(rated_pressure_bar(8.0, 11.0))
    12.5
    """
    reached = [name for name in PRESSURE_CLASSES_BAR if name <= rated_bar * (1.0 + 1e-9)]
    if not reached:
        raise ValueError(f"{rated_bar:g} bar is below the lowest class, PN 2.5")
    return reached[-1]


def temperature_factor(temperature_c: float) -> float:
    """Return the share of its class that PE may carry at a wall temperature from 0 to 40 °C [-].

    1 up to 20 °C, then straight lines through 0.87 at 30 °C and 0.74 at 40 °C: EN 12201-1 and
    ISO 4427-1, annex A (from memory). Black pipe on the ground in the sun reaches 40 °C.

    Raises
    ------
    ValueError
        Above 40 °C, where the annex gives no factor for pipe of 50 years' life.
    """
    if not 0.0 <= temperature_c <= _DERATING_C[-1]:
        raise ValueError(f"pipe at {temperature_c:g} °C: factors are known from 0 to 40 °C")
    return float(np.interp(temperature_c, _DERATING_C, _DERATING_FACTOR))


def wave_speed_m_s(
    sdr: npt.ArrayLike,
    modulus_pa: float = SHORT_TERM_MODULUS_PE_PA,
    bulk_modulus_pa: float = BULK_MODULUS_WATER_PA,
) -> FloatArray:
    """Return the speed of a pressure wave in water in a thin-walled pipe [m/s].

    a = √(K/ρ) / √(1 + (K/E)(SDR - 2)), the thin-wall form (from memory).
    """
    free = math.sqrt(bulk_modulus_pa / WATER_DENSITY_KG_M3)
    stretch = bulk_modulus_pa / modulus_pa * (np.asarray(sdr, float) - 2.0)
    return np.asarray(free / np.sqrt(1.0 + stretch))


def surge_m(speed_change_m_s: npt.ArrayLike, sdr: npt.ArrayLike) -> FloatArray:
    """Return Joukowsky's rise of head a ΔV / g [m] when flow in a PE pipe stops at once."""
    change = np.asarray(speed_change_m_s, float)
    return np.asarray(wave_speed_m_s(sdr) * change / STANDARD_GRAVITY_M_S2)


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
