"""What-ifs in a line: ``walk_limit_m=200,300`` as given to the command."""

from __future__ import annotations

import csv
import tomllib
from collections.abc import Sequence
from itertools import product
from typing import Any

from pydantic import BaseModel

from dewpond.base.errors import Fault, InputError, nearest_name
from dewpond.base.settings import Project, WhatIfSettings
from dewpond.compare.vary import spell

_UNITS = {
    "m": "m", "mm": "mm", "ha": "ha", "kg": "kg", "l": "L", "bar": "bar", "degrees": "degrees",
    "percent": "%", "hours": "h",
}  # fmt: skip

_Alternative = tuple[str, str, Any]


def read_shorthand(
    texts: Sequence[str], *, every_combination: bool = False
) -> tuple[WhatIfSettings, ...]:
    """Return the what-ifs that some shorthands ask for.

    Parameters
    ----------
    texts : sequence of str
        Each ``key=value,value,...``. The key may bear its table (``prices.outlet_each``); without
        it ``[design]`` comes first, then the one table that has the key. A value is read as TOML
        where it can be and as text where not; one that holds a comma stands in double quotes.
    every_combination : bool, default False
        Whether to combine the values of every text with those of all others; else each value
        is a change by itself.

    Raises
    ------
    InputError
        With every text that cannot be read.
    """
    faults: list[Fault] = []
    groups = [group for text in texts if (group := _alternatives(text, faults))]
    if faults:
        raise InputError(faults)
    if every_combination:
        chosen = list(product(*groups)) if groups else []
    else:
        chosen = [(alternative,) for group in groups for alternative in group]
    return tuple(_what_if(alternatives) for alternatives in chosen)


def _alternatives(text: str, faults: list[Fault]) -> list[_Alternative]:
    key, equals, values = text.partition("=")
    where = f'--instead "{text}"'
    if not equals or not values.strip():
        faults.append(Fault(
            where, "is not a key with its values", expected="key=value or key=value,value"
        ))  # fmt: skip
        return []
    table = _table_of(key.strip(), where, faults)
    if table is None:
        return []
    name = key.strip().rpartition(".")[2]
    items = next(csv.reader([values], skipinitialspace=True))
    return [(table, name, _value(item.strip())) for item in items if item.strip()]


def _table_of(key: str, where: str, faults: list[Fault]) -> str | None:
    """Return the table that a key stands in; a fault where there is none or more than one."""
    tables = _tables()
    table, _, name = key.rpartition(".")
    if table:
        if name in tables.get(table, ()):
            return table
        known = [f"{other}.{key}" for other, keys in tables.items() for key in keys]
        faults.append(Fault(where, "no table has that key", remedy=nearest_name(key, known)))
        return None
    holders = [other for other, keys in tables.items() if name in keys]
    if "design" in holders or len(holders) == 1:
        return "design" if "design" in holders else holders[0]
    if holders:
        remedy = "say which: " + ", ".join(f"{holder}.{name}" for holder in holders)
        faults.append(Fault(where, "more than one table has that key", remedy=remedy))
        return None
    known = [key for keys in tables.values() for key in keys]
    faults.append(Fault(
        where,
        "is not a known key of a table that stands once",
        remedy=nearest_name(name, known) + "; mobs and sources are changed by [[what_if]]",
    ))  # fmt: skip
    return None


def _tables() -> dict[str, tuple[str, ...]]:
    """Return the keys of every table that stands once and that a what-if may change."""
    found = {}
    for table in WhatIfSettings.model_fields:
        model = Project.model_fields[table].annotation if table in Project.model_fields else None
        if isinstance(model, type) and issubclass(model, BaseModel):
            found[table] = tuple(model.model_fields)
    return found


def _value(text: str) -> Any:
    try:
        return tomllib.loads(f"value = {text}")["value"]
    except tomllib.TOMLDecodeError:
        return text


def _what_if(alternatives: Sequence[_Alternative]) -> WhatIfSettings:
    tables: dict[str, dict[str, Any]] = {}
    for table, key, value in alternatives:
        tables.setdefault(table, {})[key] = value
    name = ", ".join(_name(key, value) for _, key, value in alternatives)
    return WhatIfSettings.model_validate({"name": name, **tables})


def _name(key: str, value: Any) -> str:
    """Name a change as one would say it: ``walk limit 200 m``.

    >>> _name("walk_limit_m", 200)
    'walk limit 200 m'
    """
    words = key.split("_")
    unit = _UNITS.get(words[-1], "") if len(words) > 1 and "per" not in words else ""
    said = " ".join(words[:-1] if unit else words)
    return " ".join(part for part in (said, spell(value), unit) if part)
