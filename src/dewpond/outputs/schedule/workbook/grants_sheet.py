"""The sheet of grants: what each pays for each line, cap after cap."""

from __future__ import annotations

import math

from openpyxl import Workbook

from dewpond.base.settings import GrantSettings
from dewpond.base.words import words
from dewpond.outputs.schedule.workbook.facts import GRANTS_HEAD, Facts
from dewpond.outputs.schedule.workbook.page import Page, column_words
from dewpond.outputs.schedule.workbook.schedule_sheet import AMOUNT, QUANTITY

_SUMMARY = ("grant_name", "due", "cap", "cap_item", "capped", "source")
_COLUMNS = (
    "item", "grant_name", "code", "quantity", "amount", "grant_rate", "at_rate", "cap_each",
    "under_cap_each", "cap_item", "under_cap_item", "due",
)  # fmt: skip
_WIDTHS = (62, 26, 26, 12, 13, 12, 13, 12, 14, 12, 14, 13)


def add_grants(book: Workbook, facts: Facts) -> None:
    """Add the sheet of grants, nothing where there are none."""
    grants = facts.plan.project.grant
    if not grants:
        return
    page = Page(book, words("schedule.sheets.grants"), _WIDTHS)
    page.across(1, words("schedule.sheets.grants"), "Title of sheet")
    page.across(2, words("schedule.assumptions.grants"))
    page.head(GRANTS_HEAD, column_words(*_SUMMARY), (2, 3, 4))
    spans = {grant.name: [facts.due_rows[n] for n, paid in facts.paid_lines if paid is grant]
             for grant in grants}  # fmt: skip
    for number, grant in enumerate(grants, start=1):
        _summary(page, GRANTS_HEAD + number, grant, spans[grant.name])
    end = GRANTS_HEAD + len(grants) + 1
    page.text(end, 1, words("schedule.totals.grant"), "Sum label")
    page.formula(end, 2, f"SUM(B{GRANTS_HEAD + 1}:B{end - 1})", "Sum")
    head = end + 3
    page.head(head, column_words(*_COLUMNS), tuple(range(4, 13)))
    for number, grant in facts.paid_lines:
        _line(page, facts, number, grant, spans[grant.name])
    page.print_on_a4(frozen="A3")


def _summary(page: Page, row: int, grant: GrantSettings, lines: list[int]) -> None:
    due, asked = (f"SUM({c}{lines[0]}:{c}{lines[-1]})" if lines else "0" for c in ("L", "G"))
    page.text(row, 1, grant.name)
    page.formula(row, 2, f"ROUND({due},2)")
    page.number(row, 3, math.nan if grant.cap is None else grant.cap)
    page.number(row, 4, math.nan if grant.cap_item is None else grant.cap_item)
    page.formula(row, 5, f'IF({due}<{asked}-0.005,"yes","no")', "Text")
    page.text(row, 6, grant.source)


def _line(page: Page, facts: Facts, number: int, grant: GrantSettings, lines: list[int]) -> None:
    """Write what one line gets: at the rate, then under each cap that there is."""
    line, row, schedule = facts.lines[number], facts.due_rows[number], facts.line_rows[number]
    sheet = f"'{words('schedule.sheets.schedule')}'"
    page.text(row, 1, f"{line.item} {line.description}")
    page.text(row, 2, grant.name)
    page.text(row, 3, line.code)
    page.formula(row, 4, f"{sheet}!{QUANTITY}{schedule}", "Quantity")
    page.formula(row, 5, f"{sheet}!{AMOUNT}{schedule}")
    if grant.each is not None:
        page.number(row, 6, grant.each * line.per_unit, "Rate to change")
        page.formula(row, 7, f"MIN(D{row}*F{row},E{row})")
    else:
        page.number(row, 6, grant.share or 0.0, "Share to change")
        page.formula(row, 7, f"MIN(E{row}*F{row},E{row})")
    first, last = lines[0], lines[-1]
    if grant.cap_each is not None:
        page.number(row, 8, grant.cap_each * line.per_unit)
    page.formula(row, 9, f"MIN(G{row},D{row}*H{row})" if grant.cap_each is not None else f"G{row}")
    under = f"I{row}"
    if grant.cap_item is not None:
        page.number(row, 10, grant.cap_item)
        of_code = f"SUMIFS(I${first}:I${last},C${first}:C${last},C{row})"
        under = f"I{row}*MIN(1,J{row}/MAX({of_code},0.000000001))"
    page.formula(row, 11, under)
    due = f"K{row}"
    if grant.cap is not None:
        at = GRANTS_HEAD + 1 + facts.plan.project.grant.index(grant)
        due = f"K{row}*MIN(1,C${at}/MAX(SUM(K${first}:K${last}),0.000000001))"
    page.formula(row, 12, due)
