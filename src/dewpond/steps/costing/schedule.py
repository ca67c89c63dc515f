"""Lines of the schedule: quantities of one price, held by one party, added up and paid for."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt
import pandas as pd

from dewpond.base.price_list import family_of
from dewpond.base.rounding import to_cents
from dewpond.base.settings import GrantSettings, Project
from dewpond.base.settings.costing import WORKS
from dewpond.base.surface import FloatArray
from dewpond.steps.costing.book import Entry

Key = tuple[str, str, str, str]
HOLDERS = ("landlord", "tenant", "portable")
_LITTLE = 1e-9


def add_up(entries: Sequence[Entry]) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return the lines of the schedule, and the entries with the line that each belongs to.

    Lines stand by heading, then as their kind was first counted, then by size.
    """
    lines: dict[Key, list[int]] = {}
    for number, entry in enumerate(entries):
        key = (entry.work, entry.code, entry.description, entry.holder)
        lines.setdefault(key, []).append(number)
    kinds: dict[tuple[str, str, str], int] = {}
    for key in lines:
        kinds.setdefault(_kind(key), len(kinds))
    order = sorted(lines, key=lambda key: (WORKS.index(key[0]), kinds[_kind(key)], _sizes(key[1]),
                                           HOLDERS.index(key[3])))  # fmt: skip
    items = pd.DataFrame([_line([entries[n] for n in lines[key]]) for key in order],
                         columns=_COLUMNS)  # fmt: skip
    of_line = {number: row for row, key in enumerate(order) for number in lines[key]}
    takeoff = pd.DataFrame(
        {
            "item": [of_line[number] for number in range(len(entries))],
            "quantity": [entry.quantity for entry in entries],
            "measured": [entry.measured for entry in entries],
            "features": _objects([entry.features for entry in entries]),
            "element": _objects([entry.element for entry in entries]),
            "parcels": _objects([entry.parcels for entry in entries]),
        }
    )
    share = takeoff["quantity"] / takeoff["item"].map(items["quantity"])
    takeoff["amount"] = share * takeoff["item"].map(items["amount"])
    return items, takeoff


def _kind(key: Key) -> tuple[str, str, str]:
    """Return what lines of several sizes share; of labour, the task."""
    work, code, description, _ = key
    return work, family_of(code), description if work == "labour" else ""


def _sizes(code: str) -> tuple[float, ...]:
    return tuple(float(number) for number in re.findall(r"\d+(?:\.\d+)?", code))


_COLUMNS = [
    "work", "code", "description", "quantity", "unit", "rate", "amount", "holder", "features",
    "parcels", "measured", "life_years", "price_source",
]  # fmt: skip


def _line(entries: Sequence[Entry]) -> dict[str, object]:
    entry = entries[0]
    quantity = float(sum(e.quantity for e in entries))
    return {
        "work": entry.work,
        "code": entry.code,
        "description": entry.description,
        "quantity": quantity,
        "unit": entry.unit,
        "rate": entry.rate,
        "amount": float(to_cents(quantity * entry.rate)),
        "holder": entry.holder,
        "features": tuple(dict.fromkeys(name for e in entries for name in e.features)),
        "parcels": tuple(dict.fromkeys(parcel for e in entries for parcel in e.parcels)),
        "measured": float(sum(e.measured for e in entries)),
        "life_years": entry.life_years,
        "price_source": entry.price_source,
    }


def _objects(values: Sequence[object]) -> pd.Series:
    return pd.Series(list(values), dtype=object)


def pay_grants(items: pd.DataFrame, grants: Sequence[GrantSettings]) -> tuple[
    pd.DataFrame, pd.DataFrame
]:  # fmt: skip
    """Return the lines with ``grant`` and ``grant_name``, and what each grant comes to.

    A line is paid for by the grant that names its code, else the first part of its code, else its
    heading, and never by more than its amount.
    """
    payer = _payers(items, grants)
    paid = np.zeros(len(items))
    rows = []
    for number, grant in enumerate(grants):
        own = np.flatnonzero(payer == number)
        asked = _asked(items.iloc[own], grant)
        due = _capped(items.iloc[own], asked, grant)
        paid[own] = due
        rows.append(
            {
                "name": grant.name,
                "amount": float(to_cents(due.sum())),
                "capped": bool(due.sum() < asked.sum() - 0.005),
                "source": grant.source,
            }
        )
    names = [grants[number].name if number >= 0 else "" for number in payer]
    table = pd.DataFrame(rows, columns=["name", "amount", "capped", "source"])
    return items.assign(grant=paid, grant_name=_objects(names)), table


def _payers(items: pd.DataFrame, grants: Sequence[GrantSettings]) -> npt.NDArray[np.intp]:
    """Return the position of the grant that pays for each line, -1 where none does."""
    by_name = {name: number for number, grant in enumerate(grants) for name in grant.pays_for}
    found = []
    for work, code in zip(items["work"], items["code"], strict=True):
        names = (code, family_of(code), work)
        found.append(next((by_name[name] for name in names if name in by_name), -1))
    return np.array(found, dtype=np.intp)


def _asked(items: pd.DataFrame, grant: GrantSettings) -> FloatArray:
    """Return what the rate alone would pay for each line, its amount at most."""
    amount, quantity = items["amount"].to_numpy(float), items["quantity"].to_numpy(float)
    rate = quantity * grant.each if grant.each is not None else amount * (grant.share or 0.0)
    return np.asarray(np.minimum(rate, amount))


def _capped(items: pd.DataFrame, asked: FloatArray, grant: GrantSettings) -> FloatArray:
    """Return what is paid under the caps; one that bites cuts all lines under it alike."""
    due = asked
    if grant.cap_each is not None:
        due = np.minimum(due, items["quantity"].to_numpy(float) * grant.cap_each)
    if grant.cap_item is not None:
        of_code = pd.Series(due).groupby(items["code"].to_numpy(object)).transform("sum")
        due = due * np.minimum(1.0, grant.cap_item / np.maximum(of_code.to_numpy(float), _LITTLE))
    if grant.cap is not None:
        due = due * min(1.0, grant.cap / max(float(due.sum()), _LITTLE))
    return np.asarray(due)


def total_up(items: pd.DataFrame, grants: pd.DataFrame, settings: Project) -> dict[str, float]:
    """Return the totals, each to the cent."""
    costing = settings.costing
    net = float(to_cents(items["amount"].sum()))
    contingency = float(to_cents(net * costing.contingency_share))
    tax = float(to_cents((net + contingency) * costing.tax_share))
    gross = float(to_cents(net + contingency + tax))
    grant = float(to_cents(grants["amount"].sum()))
    by_holder: Mapping[str, float] = items.groupby("holder")["amount"].sum().to_dict()
    return {
        "net": net,
        "contingency": contingency,
        "tax": tax,
        "gross": gross,
        "grant": grant,
        "to_pay": float(to_cents(gross - grant)),
        **{holder: float(to_cents(by_holder.get(holder, 0.0))) for holder in HOLDERS},
    }
