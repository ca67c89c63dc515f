"""The date of the documents: one rule for all of them."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from dewpond.base.dates import document_date
from farms import project


def test_as_set_then_of_the_build_then_today(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "0")
    assert document_date(project(documents={"date": "2026-11-26"})) == date(2026, 11, 26)
    assert document_date(project()) == date(1970, 1, 1)
    # 1,795,651,200 s are 20,783 days of 86,400 s: 56 years with 14 leap days, then 329 days.
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1795651200")
    assert document_date(project()) == date(2026, 11, 26)


@pytest.mark.parametrize("epoch", ["not a number", "-5", "٣", "9" * 13, "9" * 40, ""])
def test_nonsense_is_passed_over(epoch: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", epoch)
    documents: Any = project()
    assert document_date(documents) == date.today()
