"""The sheet that traces every quantity to the features of the plan that it is counted from."""

from __future__ import annotations

from openpyxl import Workbook

from dewpond.base.words import words
from dewpond.outputs.schedule.workbook.facts import Facts
from dewpond.outputs.schedule.workbook.page import Page, column_words
from dewpond.outputs.schedule.workbook.schedule_sheet import AMOUNT, QUANTITY

_COLUMNS = ("features", "item", "description", "measured", "quantity", "unit", "amount", "stage",
            "parcels")  # fmt: skip
_WIDTHS = (30, 8, 56, 12, 12, 8, 13, 9, 40)
_HEAD = 3


def add_features(book: Workbook, facts: Facts) -> None:
    """Add one row for each quantity counted from features, with its part of the line's amount."""
    page = Page(book, words("schedule.sheets.features"), _WIDTHS)
    page.across(1, words("schedule.sheets.features"), "Title of sheet")
    page.head(_HEAD, column_words(*_COLUMNS), (4, 5, 7))
    by_row = {line.row: number for number, line in enumerate(facts.lines)}
    sheet = f"'{words('schedule.sheets.schedule')}'!"
    for offset, entry in enumerate(facts.costing.takeoff.itertuples(), start=1):
        row, number = _HEAD + offset, by_row[int(entry.item)]
        line, at = facts.lines[number], facts.line_rows[number]
        page.text(row, 1, ", ".join(entry.features))
        page.text(row, 2, line.item)
        page.text(row, 3, line.description)
        page.number(row, 4, entry.measured / line.per_unit, "Quantity")
        page.number(row, 5, entry.quantity / line.per_unit, "Quantity")
        page.text(row, 6, line.unit)
        page.formula(row, 7, f"E{row}/{sheet}{QUANTITY}{at}*{sheet}{AMOUNT}{at}")
        if entry.stage:
            page.number(row, 8, entry.stage, "Number of row")
        page.text(row, 9, "; ".join(entry.parcels))
    if not any(line.parcels for line in facts.lines):
        page.hide("I")
    last = _HEAD + len(facts.costing.takeoff)
    page.text(last + 1, 3, words("schedule.totals.net"), "Sum label")
    page.formula(last + 1, 7, f"SUM(G{_HEAD + 1}:G{last})" if last > _HEAD else "0", "Sum")
    page.sheet.auto_filter.ref = f"A{_HEAD}:I{last}"
    page.print_on_a4(head_row=_HEAD, frozen=f"B{_HEAD + 1}")
