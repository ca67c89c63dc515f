"""The sheets of stages: what is built when, its price and the running total, by formulas."""

from __future__ import annotations

import math

from openpyxl import Workbook
from openpyxl.utils import get_column_letter

from dewpond.base.words import words
from dewpond.outputs.schedule.workbook.facts import PARTS_HEAD, STAGES_HEAD, Facts
from dewpond.outputs.schedule.workbook.page import Page, column_words
from dewpond.outputs.schedule.workbook.schedule_sheet import AMOUNT, QUANTITY

_COLUMNS = ("stage", "outlets", "pipes", "paddocks", "net", "gross", "running", "within_budget")
_WIDTHS = (8, 30, 34, 44, 13, 15, 15, 11)
_PARTS = ("item", "description", "quantity", "amount", "check")
_FIRST_STAGE = 6
"""Column of the first stage in the sheet of their quantities."""


def add_stages(book: Workbook, facts: Facts) -> None:
    """Add the stages and the quantities that they hold, nothing where there are none."""
    stages = facts.costing.stages
    if stages.empty:
        return
    page = Page(book, words("schedule.sheets.stages"), _WIDTHS)
    page.across(1, words("schedule.sheets.stages"), "Title of sheet")
    order_by = facts.plan.project.costing.order_by
    page.across(2, words("schedule.assumptions.stages", order_by=order_by))
    budget = facts.costing.rates["budget"]
    page.text(3, 2, words("schedule.totals.budget"))
    page.number(3, 5, budget, "Rate to change")
    _budget_note(page, facts)
    page.head(STAGES_HEAD, column_words(*_COLUMNS), (5, 6, 7))
    for stage in stages.index:
        _stage(page, facts, int(stage), has_budget=math.isfinite(budget))
    last = STAGES_HEAD + len(stages)
    page.text(last + 1, 4, words("schedule.totals.in_stages"), "Sum label")
    for column in (5, 6):
        letter = get_column_letter(column)
        page.formula(last + 1, column, f"SUM({letter}{STAGES_HEAD + 1}:{letter}{last})", "Sum")
    page.print_on_a4(head_row=STAGES_HEAD, frozen=f"B{STAGES_HEAD + 1}")
    _add_quantities(book, facts)


def _budget_note(page: Page, facts: Facts) -> None:
    rates = facts.costing.rates
    if math.isfinite(rates["budget"]):
        page.across(4, words(
            "schedule.assumptions.budget",
            budget=f"{facts.costing.currency} {rates['budget']:,.0f}",
            share_percent=100.0 * rates["water_share"],
            bound_percent=100.0 * rates["water_share_bound"],
        ))  # fmt: skip


def _stage(page: Page, facts: Facts, stage: int, *, has_budget: bool) -> None:
    row, table = STAGES_HEAD + stage, facts.costing.stages.loc[stage]
    page.number(row, 1, stage, "Number of row")
    for column, name in enumerate(("outlets", "pipes", "paddocks"), start=2):
        page.text(row, column, ", ".join(table[name]))
    parts = f"'{words('schedule.sheets.stage_quantities')}'!"
    first, last = PARTS_HEAD + 1, PARTS_HEAD + len(facts.lines)
    own = get_column_letter(_FIRST_STAGE + stage - 1)
    page.formula(
        row, 5,
        f"SUMPRODUCT({parts}{own}{first}:{own}{last}/{parts}C{first}:C{last}"
        f"*{parts}D{first}:D{last})",
    )  # fmt: skip
    schedule, at = f"'{words('schedule.sheets.schedule')}'!{AMOUNT}", facts.total_rows
    page.formula(row, 6, f"E{row}*{schedule}{at['gross']}/{schedule}{at['net']}")
    page.formula(row, 7, f"SUM(F${STAGES_HEAD + 1}:F{row})")
    if has_budget:
        page.formula(row, 8, f'IF(G{row}<=$E$3+0.005,"yes","no")', "Text")
    else:
        page.text(row, 8, "")


def _add_quantities(book: Workbook, facts: Facts) -> None:
    """Add the sheet that parts the quantity of each line in stages, with a check."""
    count = len(facts.costing.stages)
    widths = (7, 56, 12, 13, 9, *([11] * count))
    page = Page(book, words("schedule.sheets.stage_quantities"), widths)
    page.across(1, words("schedule.sheets.stage_quantities"), "Title of sheet")
    stage = words("schedule.columns.stage")
    heads = [*column_words(*_PARTS), *(f"{stage} {number + 1}" for number in range(count))]
    page.head(PARTS_HEAD, heads, tuple(range(3, len(heads) + 1)))
    sheet = f"'{words('schedule.sheets.schedule')}'!"
    ends = [get_column_letter(_FIRST_STAGE + n) for n in (0, count - 1)]
    for number, line in enumerate(facts.lines):
        row, at = PARTS_HEAD + 1 + number, facts.line_rows[number]
        page.text(row, 1, line.item)
        page.text(row, 2, line.description)
        page.formula(row, 3, f"{sheet}{QUANTITY}{at}", "Quantity")
        page.formula(row, 4, f"{sheet}{AMOUNT}{at}")
        page.formula(row, 5, f"ROUND(SUM({ends[0]}{row}:{ends[1]}{row})-C{row},3)", "Quantity")
        for held, quantity in line.stages:
            page.number(row, _FIRST_STAGE + held - 1, quantity, "Quantity")
    page.print_on_a4(head_row=PARTS_HEAD, frozen=f"C{PARTS_HEAD + 1}")
