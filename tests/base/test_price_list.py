"""The price list: samples, a list of the user's over them, and all its faults at once."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

import farms
from dewpond import InputError
from dewpond.base.price_list import family_of, read_price_list, size_of
from dewpond.base.settings import Project, project_from_dict

HEADER = "code,description,unit,price,currency,holder,life_years,source\n"


def project(folder: Path, rows: str = "", **tables: Any) -> Project:
    raw = farms.project(**tables).model_dump(mode="python")
    raw.pop("folder", None)
    if rows:
        (folder / "prices.csv").write_text(HEADER + rows, encoding="utf-8")
        raw["costing"] = {**raw["costing"], "price_list": "prices.csv"}
    return project_from_dict(raw, folder=folder)


def faults(folder: Path, rows: str = "", **tables: Any) -> list[str]:
    with pytest.raises(InputError) as caught:
        read_price_list(project(folder, rows, **tables))
    return [str(fault) for fault in caught.value.faults]


def test_samples_are_marked_invented(tmp_path: Path) -> None:
    prices = read_price_list(project(tmp_path)).prices
    assert len(prices) > 80
    assert {price.source for price in prices.values()} == {"invented sample price"}


def test_own_rows_stand_in_place_of_samples(tmp_path: Path) -> None:
    rows = (
        "stop-tap,Our tap,each,19.5,GBP,tenant,,a merchant\n"
        "trough-fixed-600,Trough of 600 L,each,301,GBP,,18,a merchant\n"
    )
    prices = read_price_list(project(tmp_path, rows))
    tap = prices.prices["stop-tap"]
    assert (tap.rate, tap.holder, tap.source) == (19.5, "tenant", "a merchant")
    assert prices.sized("trough-fixed", 460.0)[0].code == "trough-fixed-600"
    assert "washout" in prices.prices


def test_sizes_are_large_enough(tmp_path: Path) -> None:
    prices = read_price_list(project(tmp_path))
    assert prices.sized("tank", 7799.6)[0].code == "tank-10000"
    assert prices.sized("tank", 10000.0)[0].code == "tank-10000"
    assert [prices.sized("tank", 65000.0, several=True)[i] for i in (1,)] == [3]
    assert prices.too_small("tee", 110.0)
    assert not prices.too_small("tee", 25.0)


def test_every_fault_at_once(tmp_path: Path) -> None:
    rows = (
        "trouhg-fixed-600,Misspelt,each,301,GBP,,18,x\n"
        "washout,Negative,each,-4,GBP,,,x\n"
        "meter,No unit,,4,GBP,,,x\n"
        "drain,Wrong currency,each,4,EUR,,,x\n"
        "air-valve,Once,each,4,GBP,,,x\n"
        "air-valve,Twice,each,4,GBP,,,x\n"
        "hose,Another unit,each,4,GBP,,,x\n"
        "tank,No size,each,4,GBP,,,x\n"
        "stop-tap,Holder,each,4,GBP,lessee,,x\n"
    )
    found = faults(
        tmp_path, rows,
        costing={"holder": {"trougs": "tenant"}},
        grant=[
            {"name": "one", "pays_for": ["pipe", "nothing"], "share": 0.5},
            {"name": "two", "pays_for": ["pipe"], "each": 3.31},
        ],
    )  # fmt: skip
    for part in (
        "row 1", "line 3, price", "line 4, unit", "row 4", "row 6", "row 7", "row 8",
        "line 10, holder", '"trougs"', '"nothing"', "paid for by \"one\" already",
    ):  # fmt: skip
        assert sum(part in fault for fault in found) == 1, (part, found)
    assert len(found) == 11


@pytest.mark.parametrize(
    "grant",
    [
        {"name": "x", "pays_for": ["pipe"]},
        {"name": "x", "pays_for": ["pipe"], "each": 1.0, "share": 0.5},
        {"name": "x", "pays_for": [], "each": 1.0},
        {"name": "x", "pays_for": ["pipe"], "share": 1.5},
    ],
)
def test_a_grant_needs_one_rate(grant: dict[str, Any]) -> None:
    with pytest.raises(InputError):
        farms.project(grant=[grant])


def test_samples_in_another_currency_are_told_of(tmp_path: Path) -> None:
    prices = read_price_list(project(tmp_path, prices={"currency": "AUD"}))
    assert prices.currency == "AUD"
    assert "GBP" in prices.warnings[0]
    assert "AUD" in prices.warnings[0]


def test_families_and_sizes() -> None:
    assert [family_of(c) for c in ("tank-2500", "air-valve", "pipe-PE80-25-SDR13.6")] == [
        "tank", "air-valve", "pipe",
    ]  # fmt: skip
    assert size_of("tank-2500") == 2500.0
    assert size_of("air-valve") == 0.0
