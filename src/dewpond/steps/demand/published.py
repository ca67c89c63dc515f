"""Published figures by class of stock, live weight and air temperature, read between the rows."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
import pandas as pd

from dewpond.base.settings import MobSettings
from dewpond.base.tables import Column, packaged_table
from dewpond.base.units import KILOGRAMS_PER_POUND, LITRES_PER_US_GALLON
from dewpond.base.words import words

# Water use of animals of one kind goes with the 0.75 power of live weight, as their metabolism
# does (Kleiber 1932); used only beyond the weights that a table holds.
METABOLIC_POWER = 0.75

_SPECIES = ("cattle", "sheep", "goats", "horses")
_VALUES = {
    "table": Column(),
    "species": Column(choices=_SPECIES),
    "stock_class": Column(),
    "weight": Column("number", blank=True, least=1, most=5000),
    "weight_unit": Column(blank=True, choices=("kg", "lb")),
    "air_temperature": Column("number", blank=True, least=-40, most=140),
    "temperature_unit": Column(blank=True, choices=("°C", "°F")),
    "value": Column("number", least=0.1, most=500),
    "unit": Column(choices=("L/head/day", "US gal/head/day")),
    "evidence": Column(choices=("seen", "seen at second hand", "from memory")),
    "source": Column(),
}
_CLASSES = {
    "table": Column(),
    "species": Column(choices=_SPECIES),
    "stock_class": Column(),
    "lactating": Column("yes or no"),
    "from_kg": Column("number", least=0),
    "to_kg": Column("number", least=0),
    "source": Column(),
}


@dataclass(frozen=True)
class Reading:
    """A figure read from a table, with what was stretched to read it."""

    litres_head_day: float
    source: str
    notes: tuple[str, ...]


@lru_cache(maxsize=1)
def _values() -> pd.DataFrame:
    """Return every figure with its weight [kg], temperature [°C] and value [L/head/day]."""
    rows = packaged_table("stock.csv", _VALUES)
    pounds, fahrenheit = rows["weight_unit"] == "lb", rows["temperature_unit"] == "°F"
    gallons = rows["unit"] == "US gal/head/day"
    return rows.assign(
        weight_kg=rows["weight"] * np.where(pounds, KILOGRAMS_PER_POUND, 1.0),
        air_temperature_c=rows["air_temperature"].where(
            ~fahrenheit, (rows["air_temperature"] - 32.0) / 1.8
        ),
        litres_head_day=rows["value"] * np.where(gallons, LITRES_PER_US_GALLON, 1.0),
    )


@lru_cache(maxsize=1)
def _usual_classes() -> pd.DataFrame:
    return packaged_table("stock_classes.csv", _CLASSES)


def classes_of(table: str, species: str) -> tuple[str, ...]:
    """Return the classes that a table holds for a species, in the order of the table."""
    rows = _values()
    chosen = rows[(rows["table"] == table) & (rows["species"] == species)]
    return tuple(chosen["stock_class"].drop_duplicates())


def usual_class(table: str, mob: MobSettings) -> str | None:
    """Return the class that a mob belongs to where it names none; None where none fits."""
    rows = _usual_classes()
    fits = (
        (rows["table"] == table)
        & (rows["species"] == mob.species)
        & (rows["lactating"] == mob.lactating)
        & (rows["from_kg"] <= mob.weight_kg)
        & (mob.weight_kg <= rows["to_kg"])
    )
    names = rows.loc[fits, "stock_class"]
    return None if names.empty else str(names.iloc[0])


def read_class(
    table: str, species: str, stock_class: str, weight_kg: float, air_temperature_c: float
) -> Reading:
    """Read a figure [L/head/day], straight lines between the weights and temperatures printed.

    Beyond the temperatures of the table the nearest figure stands; beyond its weights the
    nearest one is carried on with the 0.75 power of live weight. Both are noted.
    """
    rows = _values()
    rows = rows[
        (rows["table"] == table)
        & (rows["species"] == species)
        & (rows["stock_class"] == stock_class)
    ]
    notes = _temperature_notes(rows["air_temperature_c"], air_temperature_c)
    curve = rows.groupby("weight_kg", dropna=False, sort=True)[
        ["air_temperature_c", "litres_head_day"]
    ].apply(lambda part: _at_temperature(part, air_temperature_c))
    weights, litres = curve.index.to_numpy(float), curve.to_numpy(float)
    source = "; ".join(rows["source"].drop_duplicates())
    if np.isnan(weights).any():
        return Reading(float(litres[0]), source, notes)
    nearest_kg = float(np.clip(weight_kg, weights[0], weights[-1]))
    figure = float(np.interp(nearest_kg, weights, litres))
    if nearest_kg != weight_kg:
        figure *= (weight_kg / nearest_kg) ** METABOLIC_POWER
        notes += (
            words(
                "demand.published.weight_outside_table",
                weight_kg=weight_kg,
                span=_span(weights, "kg"),
            ),
        )
    return Reading(figure, source, notes)


def _at_temperature(part: pd.DataFrame, air_temperature_c: float) -> float:
    if part["air_temperature_c"].isna().all():
        return float(part["litres_head_day"].iloc[0])
    part = part.sort_values("air_temperature_c")
    return float(np.interp(air_temperature_c, part["air_temperature_c"], part["litres_head_day"]))


def _temperature_notes(temperatures_c: pd.Series, air_temperature_c: float) -> tuple[str, ...]:
    if temperatures_c.isna().all():
        return ()
    if temperatures_c.min() <= air_temperature_c <= temperatures_c.max():
        return ()
    hotter = air_temperature_c > temperatures_c.max()
    return (
        words(
            "demand.published.temperature_outside_table",
            air_temperature_c=air_temperature_c,
            span=_span(temperatures_c.to_numpy(), "°C"),
        )
        + (words("demand.published.will_drink_more") if hotter else ""),
    )


def _span(values: npt.ArrayLike, unit: str) -> str:
    low, high = np.nanmin(values), np.nanmax(values)
    return (
        f"{low:.0f} {unit}"
        if low == high
        else words("demand.published.span", low=low, high=high, unit=unit)
    )
