"""The sheet of the schedule: lines by heading, subtotals, totals, who holds what."""

from __future__ import annotations

from openpyxl import Workbook

from dewpond.base.dates import document_date
from dewpond.base.words import words
from dewpond.outputs.schedule.lines import Line, stages_text
from dewpond.outputs.schedule.workbook.facts import GRANTS_HEAD, HOLDERS, SCHEDULE_HEAD, Facts
from dewpond.outputs.schedule.workbook.page import Page, column_words

_COLUMNS = (
    "item", "description", "quantity", "unit", "rate", "amount", "holder", "grant", "stages",
    "parcels", "life_years", "code", "price_source",
)  # fmt: skip
_WIDTHS = (7, 56, 11, 8, 11, 13, 12, 11, 13, 60, 9, 26, 24)
QUANTITY, RATE, AMOUNT, HOLDER, GRANT, LIFE = "C", "E", "F", "G", "H", "K"
_PARCELS = "J"
"""Letters of columns that formulas ask for."""
_FIGURES = (3, 5, 6, 8, 11)


def add_schedule(book: Workbook, facts: Facts) -> None:
    """Add the sheet of lines, with amounts, subtotals and totals as formulas."""
    page = Page(book, words("schedule.sheets.schedule"), _WIDTHS)
    _titles(page, facts)
    page.head(SCHEDULE_HEAD, column_words(*_COLUMNS), _FIGURES)
    for work in facts.works:
        first, last = facts.rows_of(work)
        label = words(f"schedule.works.{work}")
        for column in range(1, len(_COLUMNS) + 1):
            page.text(first - 1, column, label if column == 2 else "", "Heading of work")
        page.text(first - 1, 1, str(facts.works.index(work) + 1), "Heading of work")
        _sum_row(
            page, last + 1, words("schedule.totals.subtotal", work=label),
            f"SUM({AMOUNT}{first}:{AMOUNT}{last})",
        )  # fmt: skip
        if facts.paid_lines:
            page.formula(last + 1, 8, f"SUM({GRANT}{first}:{GRANT}{last})", "Sum")
    for number, line in enumerate(facts.lines):
        _line(page, facts, number, line)
    _totals(page, facts)
    if not facts.paid_lines:
        page.hide(GRANT)
    if not any(line.parcels for line in facts.lines):
        page.hide(_PARCELS)
    page.print_on_a4(head_row=SCHEDULE_HEAD, frozen=f"C{SCHEDULE_HEAD + 1}")


def _titles(page: Page, facts: Facts) -> None:
    documents, costing = facts.plan.project.documents, facts.costing
    page.across(1, words("schedule.title", holding=facts.plan.holding.name), "Title of sheet")
    page.across(2, words("schedule.subtitle", source=facts.source_name))
    page.across(
        3, words(
            "schedule.reference", reference=documents.reference, revision=documents.revision,
            date=document_date(facts.plan.project), prepared_for=documents.prepared_for,
            prepared_by=documents.prepared_by,
        ),
    )  # fmt: skip
    page.across(4, words("schedule.currency", currency=costing.currency, sample=facts.has_samples))
    if costing.warnings:
        page.across(5, " ".join(costing.warnings), "Warning")


def _line(page: Page, facts: Facts, number: int, line: Line) -> None:
    row = facts.line_rows[number]
    page.text(row, 1, line.item)
    page.text(row, 2, line.description)
    page.number(row, 3, line.quantity, "Count" if line.unit in ("each", "W") else "Quantity")
    page.text(row, 4, line.unit)
    page.number(row, 5, line.rate, "Rate to change")
    page.formula(row, 6, f"ROUND({QUANTITY}{row}*{RATE}{row},2)")
    page.text(row, 7, words(f"schedule.totals.{line.holder}"))
    due = facts.due_rows.get(number)
    if due is not None:
        page.formula(row, 8, f"'{words('schedule.sheets.grants')}'!L{due}")
    else:
        page.text(row, 8, "")
    page.text(row, 9, stages_text(line.stages))
    page.text(row, 10, "; ".join(line.parcels))
    page.number(row, 11, line.life_years, "Count")
    page.text(row, 12, line.code)
    page.text(row, 13, line.price_source)


def _sum_row(page: Page, row: int, label: str, formula: str) -> None:
    for column in (2, 3, 4, 5):
        page.text(row, column, label if column == 2 else "", "Sum label")
    page.formula(row, 6, formula, "Sum")


def _totals(page: Page, facts: Facts) -> None:
    """Write totals, each to the cent, and the net by holder."""
    rates, at = facts.costing.rates, facts.total_rows
    costing = facts.plan.project.costing
    last = at["net"] - 2
    subtotals = "+".join(f"{AMOUNT}{facts.rows_of(work)[1] + 1}" for work in facts.works) or "0"
    cell = {name: f"{AMOUNT}{row}" for name, row in at.items()}
    share = {name: f"C{at[name]}" for name in ("contingency", "tax")}
    paid = f"'{words('schedule.sheets.grants')}'!B{_sum_of_grants(facts)}"
    rows = {
        "net": subtotals,
        "contingency": f"ROUND({cell['net']}*{share['contingency']},2)",
        "tax": f"ROUND(({cell['net']}+{cell['contingency']})*{share['tax']},2)",
        "gross": f"{cell['net']}+{cell['contingency']}+{cell['tax']}",
        "grant": paid if facts.plan.project.grant else "0",
        "to_pay": f"{cell['gross']}-{cell['grant']}",
    }
    for name, formula in rows.items():
        label = words(f"schedule.totals.{name}", name=costing.tax_name)
        _sum_row(page, at[name], label, formula)
    for name, reference in share.items():
        page.number(int(reference[1:]), 3, rates[f"{name}_share"], "Share to change")
    if facts.lines:
        _holders(page, facts, SCHEDULE_HEAD + 1, last)


def _sum_of_grants(facts: Facts) -> int:
    return GRANTS_HEAD + len(facts.plan.project.grant) + 1


def _holders(page: Page, facts: Facts, first: int, last: int) -> None:
    at = facts.total_rows
    page.text(at[HOLDERS[0]] - 1, 2, words("schedule.totals.holders"), "Heading of work")
    for holder in HOLDERS:
        label = words(f"schedule.totals.{holder}")
        _sum_row(
            page, at[holder], label,
            f'SUMIFS({AMOUNT}{first}:{AMOUNT}{last},{HOLDER}{first}:{HOLDER}{last},"{label}")',
        )  # fmt: skip
