"""The price list of the schedule: the package's invented samples, rows of the user's over them.

A code is a family (``trough-fixed``) or a family with a size (``trough-fixed-450``). A user may
price further sizes of the families that there are, but no family that nothing would ask for.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from dewpond.base.errors import Fault, InputError, nearest_name
from dewpond.base.settings import Project
from dewpond.base.settings.costing import WORKS
from dewpond.base.tables import Column, packaged_table, read_table
from dewpond.base.words import words

_COLUMNS = {
    "code": Column(),
    "description": Column(),
    "unit": Column(),
    "price": Column("number", least=0.0),
    "currency": Column(),
    "holder": Column(blank=True, choices=("landlord", "tenant", "portable")),
    "life_years": Column("number", blank=True, least=1.0, most=1000.0),
    "source": Column(),
}
_SAMPLE = "schedule_prices.csv"
_SIZE = re.compile(r"-(\d+(?:\.\d+)?)$")
_PIPE = "pipe"
"""Family of pipe, which is priced in its own table."""


@dataclass(frozen=True)
class Price:
    """One line of the price list.

    Attributes
    ----------
    code, description, unit : str
    rate : float
        Money a unit.
    holder : str
        "landlord", "tenant", "portable", or empty where tenure and laying decide.
    life_years : float
        NaN where it is not replaced.
    source : str
    """

    code: str
    description: str
    unit: str
    rate: float
    holder: str
    life_years: float
    source: str


@dataclass(frozen=True, eq=False)
class PriceList:
    """Prices by code, in one currency.

    Attributes
    ----------
    prices : mapping of str to Price
    currency : str
        ISO 4217.
    warnings : tuple of str
    """

    prices: Mapping[str, Price]
    currency: str
    warnings: tuple[str, ...] = ()

    def sized(self, family: str, size: float, *, several: bool = False) -> tuple[Price, int]:
        """Return the least size of a family that is large enough, and how many of it.

        Parameters
        ----------
        family : str
        size : float
            As in the code: L, W, mm.
        several : bool
            Whether two or more of the largest do, where no one is large enough; else one of the
            largest is taken.
        """
        sizes = sorted((size_of(code), code) for code in self.prices if family_of(code) == family)
        for offered, code in sizes:
            if offered >= size - 1e-6:
                return self.prices[code], 1
        largest, code = sizes[-1]
        return self.prices[code], math.ceil(size / largest) if several else 1

    def holder_of(self, family: str) -> str:
        """Return who holds the first size of a family by the list, empty where it leaves it."""
        return next((p.holder for c, p in self.prices.items() if family_of(c) == family), "")

    def too_small(self, family: str, size: float) -> bool:
        """Tell whether even the largest of a family is smaller than this."""
        return size_of(self.sized(family, size)[0].code) < size - 1e-6


def family_of(code: str) -> str:
    """Return the family of a code, the code itself where it has no size.

    >>> family_of("trough-fixed-450"), family_of("air-valve"), family_of("pipe-PE80-25-11")
    ('trough-fixed', 'air-valve', 'pipe')
    """
    return _PIPE if code.startswith(f"{_PIPE}-") else _SIZE.sub("", code)


def size_of(code: str) -> float:
    """Return the size in a code, 0 where it has none.

    >>> size_of("trough-fixed-450")
    450.0
    """
    found = _SIZE.search(code)
    return float(found[1]) if found else 0.0


def read_price_list(project: Project) -> PriceList:
    """Return the prices of a project, after checking what its settings ask of them.

    Parameters
    ----------
    project : Project
        ``[costing]`` names the list; its holders and the grants must name codes that there are.

    Raises
    ------
    InputError
        Every fault at once: a code that is not known or stands twice, a price below zero, no
        unit or another than the sample's, a currency other than that of ``[prices]``; a holder
        or a grant for what no schedule holds; work that two grants pay for.
    """
    sample = packaged_table(_SAMPLE, _COLUMNS)
    prices = {price.code: price for price in _prices(sample)}
    faults: list[Fault] = []
    named = project.costing.price_list
    own = sample.iloc[:0]
    if named:
        own = _own(project.folder / named, prices, project.prices.currency, faults)
    merged = {**prices, **{price.code: price for price in _prices(own)}}
    faults += _setting_faults(project, merged)
    if faults:
        raise InputError(faults)
    return PriceList(
        merged,
        project.prices.currency,
        _warnings(sample, set(own["code"]), project.prices.currency),
    )


def _own(
    path: Path, sample: Mapping[str, Price], currency: str, faults: list[Fault]
) -> pd.DataFrame:
    """Return the user's rows, none after noting what is wrong with them."""
    found: list[Fault] = []
    own = pd.DataFrame(columns=list(_COLUMNS))
    try:
        own = read_table(path, _COLUMNS)
    except InputError as error:
        found.extend(error.faults)
    with suppress(InputError):
        # As text, so that a bad number hides no bad code.
        as_text = read_table(path, {name: Column(blank=True) for name in _COLUMNS})
        found += _row_faults(as_text, path.name, sample, currency)
    faults.extend(found)
    return own if not found else own.iloc[:0]


def _prices(table: pd.DataFrame) -> list[Price]:
    return [
        Price(
            str(row["code"]), str(row["description"]), str(row["unit"]), float(row["price"]),
            str(row["holder"]), float(row["life_years"]), str(row["source"]),
        )
        for row in table.to_dict("records")
    ]  # fmt: skip


def _row_faults(
    own: pd.DataFrame, where: str, sample: Mapping[str, Price], currency: str
) -> list[Fault]:
    units = {family_of(price.code): price.unit for price in sample.values()}
    sized = {family_of(code) for code in sample if family_of(code) != code}
    faults, seen = [], set()
    for number, row in enumerate(own.to_dict("records"), start=1):
        code, place = str(row["code"]), f"{where}, row {number}"
        family = family_of(code)
        if not code:
            continue
        if code in seen:
            faults.append(Fault(place, "gives a code that stands above", found=f'"{code}"'))
        seen.add(code)
        if family not in units or (code == family) == (family in sized):
            remedy = nearest_name(code, sample)
            faults.append(Fault(place, "code is not known", f'"{code}"', remedy=remedy))
        elif row["unit"] and row["unit"] != units[family]:
            faults.append(Fault(place, "unit is another", f'"{row["unit"]}"', units[family]))
        if row["currency"] and row["currency"] != currency:
            faults.append(Fault(
                place, "currency is not that of [prices]", f'"{row["currency"]}"', currency
            ))  # fmt: skip
    return faults


def _setting_faults(project: Project, prices: Mapping[str, Price]) -> list[Fault]:
    known = dict.fromkeys([*WORKS, *map(family_of, prices), _PIPE, *prices])
    faults = _unknown(project.costing.holder, known, "[costing], holder")
    paid: dict[str, str] = {}
    for number, grant in enumerate(project.grant, start=1):
        where = f"[[grant]] {number}, pays_for"
        faults += _unknown(grant.pays_for, known, where)
        for name in grant.pays_for:
            if name in paid:
                faults.append(Fault(
                    where, f'"{name}" is paid for by "{paid[name]}" already',
                    remedy="name it in one grant only",
                ))  # fmt: skip
            paid[name] = grant.name
    return faults


def _unknown(names: Iterable[str], known: Sequence[str] | Mapping[str, None], where: str
             ) -> list[Fault]:  # fmt: skip
    return [
        Fault(
            where, "is neither a code of the price list nor a heading of the schedule",
            f'"{name}"', remedy=nearest_name(name, known),
        )
        for name in names
        if name not in known and not name.startswith(f"{_PIPE}-")
    ]  # fmt: skip


def _warnings(sample: pd.DataFrame, own: set[str], currency: str) -> tuple[str, ...]:
    left = sample[~sample["code"].isin(own)]
    foreign = left.loc[left["currency"] != currency, "currency"]
    if foreign.empty:
        return ()
    return (words("costing.sample_currency", found=foreign.iloc[0], currency=currency),)
