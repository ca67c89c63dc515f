"""The sheet of whole-life cost: every source year by year, with present values as formulas."""

from __future__ import annotations

from openpyxl import Workbook
from openpyxl.utils import get_column_letter

from dewpond.base.model import Costing
from dewpond.base.words import words
from dewpond.outputs.schedule.lines import described
from dewpond.outputs.schedule.workbook.facts import Facts
from dewpond.outputs.schedule.workbook.page import Page, column_words
from dewpond.outputs.schedule.workbook.schedule_sheet import AMOUNT, LIFE

_RATES = ("term_years", "discount_rate", "tax_share", "water_per_m3", "energy_per_kwh",
          "own_labour_per_h")  # fmt: skip
_RUNNING = ("water_m3", "energy_kwh", "hauling_h", "moving_h")
_PARTS = ("capital", "water", "energy", "hauling", "moving", "replacement")
_PRICE_OF = {"water": "water_per_m3", "energy": "energy_per_kwh", "hauling": "own_labour_per_h",
             "moving": "own_labour_per_h"}  # fmt: skip
_WIDTHS = (56, 24, 15, 15, 15, 15, 15, 15, 15, 15)
_RATE = {name: 5 + number for number, name in enumerate(_RATES)}
_RUN = {name: 13 + number for number, name in enumerate(_RUNNING)}
_SUM = {name: 19 + number for number, name in enumerate((*_PARTS, "total", "each_year"))}
_REPLACED_HEAD = 29


class _Sources:
    """The sources with a costing, and what each of them replaces within the term."""

    def __init__(self, facts: Facts) -> None:
        self.facts = facts
        self.costings: list[tuple[str, Costing]] = [
            (facts.plan.holding.sources[scheme.network.source].name, scheme.costing)
            for scheme in facts.plan.schemes
            if scheme.costing is not None
        ]
        term = facts.plan.project.costing.term_years
        self.replaced = [
            (number, row)
            for number, (_, costing) in enumerate(self.costings)
            for row in costing.items.index[costing.items["life_years"] < term]
        ]

    def is_chosen(self, number: int) -> bool:
        return self.costings[number][1] is self.facts.costing


def add_whole_life(book: Workbook, facts: Facts) -> None:
    """Add the sheet: rates, quantities of a mean year, present values, replacements, years."""
    sources = _Sources(facts)
    page = Page(book, words("schedule.sheets.whole_life"), _WIDTHS)
    costing = facts.plan.project.costing
    page.across(1, words("schedule.sheets.whole_life"), "Title of sheet")
    page.across(2, words("schedule.whole_life.intro", years=costing.term_years,
                         percent=100.0 * costing.discount_rate))  # fmt: skip
    starts = _starts(sources, costing.term_years)
    _write_rates(page, facts, starts[0] if starts else 0)
    _write_running(page, sources)
    _write_sums(page, sources, starts)
    _write_replaced(page, sources)
    for number, start in enumerate(starts):
        _write_years(page, sources, number, start)
    page.print_on_a4(frozen="B4")


def _starts(sources: _Sources, years: int) -> list[int]:
    """Return the row of year 0 of each source."""
    first = _REPLACED_HEAD + len(sources.replaced) + 5
    return [first + number * (years + 4) for number in range(len(sources.costings))]


def _write_rates(page: Page, facts: Facts, start: int) -> None:
    costing = facts.plan.project.costing
    page.head(4, [words("schedule.columns.setting"), words("schedule.columns.value")], (2,))
    for name, row in _RATE.items():
        page.text(row, 1, words(f"schedule.whole_life.{name}"))
        if name == "term_years":
            page.formula(row, 2, f"MAX(A{start}:A{start + costing.term_years})", "Count")
        else:
            style = "Rate to change" if name in _PRICE_OF.values() else "Share to change"
            page.number(row, 2, getattr(costing, name), style)


def _name(sources: _Sources, number: int) -> str:
    name, costing = sources.costings[number]
    if costing.rates["unpriced_pipe_m"] > 0.0:
        name = words("schedule.whole_life.incomplete", source=name)
    if not sources.is_chosen(number):
        return name
    return words("schedule.whole_life.chosen", source=name)


def _write_heads(page: Page, row: int, label: str, sources: _Sources) -> None:
    names = [_name(sources, number) for number in range(len(sources.costings))]
    page.head(row, [label, *names], tuple(range(2, len(names) + 2)))


def _write_running(page: Page, sources: _Sources) -> None:
    _write_heads(page, 12, words("schedule.whole_life.running"), sources)
    for name, row in _RUN.items():
        page.text(row, 1, words(f"schedule.whole_life.{name}"))
        for number, (_, costing) in enumerate(sources.costings):
            page.number(row, 2 + number, costing.running[name], "Quantity")


def _write_sums(page: Page, sources: _Sources, starts: list[int]) -> None:
    """Write present values: years times factors; and the even sum of the same value."""
    _write_heads(page, 18, words("schedule.whole_life.sources"), sources)
    years = sources.facts.plan.project.costing.term_years
    rate, term = f"$B${_RATE['discount_rate']}", f"$B${_RATE['term_years']}"
    for name, row in _SUM.items():
        last = name in ("total", "each_year")
        page.text(row, 1, words(f"schedule.parts.{name}"), "Sum label" if last else "Text")
        for number, start in enumerate(starts):
            own, end = get_column_letter(2 + number), start + years
            total = f"{own}{_SUM['total']}"
            if name == "total":
                formula = f"SUM({own}{_SUM['capital']}:{own}{_SUM['replacement']})"
            elif name == "each_year":
                factor = f"{rate}/(1-(1+{rate})^-{term})"
                formula = f"IF({rate}=0,{total}/{term},{total}*{factor})"
            else:
                part = get_column_letter(2 + _PARTS.index(name))
                formula = f"SUMPRODUCT({part}{start}:{part}{end},I{start}:I{end})"
            page.formula(row, 2 + number, formula, "Sum" if last else "Money")


def _write_replaced(page: Page, sources: _Sources) -> None:
    """Write what is replaced; the lines of the scheme in use follow the schedule."""
    page.text(_REPLACED_HEAD - 1, 1, words("schedule.whole_life.replaced"), "Heading of work")
    page.head(_REPLACED_HEAD, column_words("description", "source", "amount", "life_years"),
              (3, 4))  # fmt: skip
    facts = sources.facts
    at = {line.row: row for line, row in zip(facts.lines, facts.line_rows, strict=True)}
    sheet = f"'{words('schedule.sheets.schedule')}'!"
    for offset, (number, item) in enumerate(sources.replaced, start=1):
        row, costing = _REPLACED_HEAD + offset, sources.costings[number][1]
        page.text(row, 1, described(str(costing.items.at[item, "description"]), facts.measures))
        page.text(row, 2, sources.costings[number][0])
        if sources.is_chosen(number):
            page.formula(row, 3, f"{sheet}{AMOUNT}{at[int(item)]}")
            page.formula(row, 4, f"{sheet}{LIFE}{at[int(item)]}", "Count")
        else:
            page.number(row, 3, float(costing.items.at[item, "amount"]))
            page.number(row, 4, float(costing.items.at[item, "life_years"]), "Count")


def _write_years(page: Page, sources: _Sources, number: int, start: int) -> None:
    name, costing = sources.costings[number]
    years = sources.facts.plan.project.costing.term_years
    page.text(start - 2, 1, words("schedule.whole_life.years", source=name), "Heading of work")
    heads = [words("schedule.columns.year"), *(words(f"schedule.parts.{p}") for p in _PARTS),
             *column_words("paid", "factor", "present_value")]  # fmt: skip
    page.head(start - 1, heads, tuple(range(2, 11)))
    own = get_column_letter(2 + number)
    for year in range(years + 1):
        row = start + year
        page.number(row, 1, year, "Number of row")
        _write_capital(page, sources, number, row, costing if year == 0 else None)
        for column, part in enumerate(_PARTS[1:-1], start=3):
            quantity = f"{own}${_RUN[_RUNNING[column - 3]]}"
            yearly = f"{quantity}*$B${_RATE[_PRICE_OF[part]]}"
            page.formula(row, column, yearly if year else "0")
        page.formula(row, 7, _replacement(sources, number, row) if year else "0")
        page.formula(row, 8, f"SUM(B{row}:G{row})")
        page.formula(row, 9, f"(1+$B${_RATE['discount_rate']})^-A{row}", "Factor")
        page.formula(row, 10, f"H{row}*I{row}")


def _write_capital(
    page: Page, sources: _Sources, number: int, row: int, costing: Costing | None
) -> None:
    if costing is None:
        page.number(row, 2, 0.0)
    elif sources.is_chosen(number):
        to_pay = sources.facts.total_rows["to_pay"]
        page.formula(row, 2, f"'{words('schedule.sheets.schedule')}'!{AMOUNT}{to_pay}")
    else:
        page.number(row, 2, costing.totals["to_pay"])


def _replacement(sources: _Sources, number: int, row: int) -> str:
    """Return what is replaced in the year of a row: things whose life ends in its course."""
    rows = [
        _REPLACED_HEAD + offset
        for offset, (owner, _) in enumerate(sources.replaced, start=1)
        if owner == number
    ]
    if not rows:
        return "0"
    amounts, lives = (f"{letter}${rows[0]}:{letter}${rows[-1]}" for letter in ("$C", "$D"))
    ends = f"INT(A{row}/{lives})-INT((A{row}-1)/{lives})"
    paid = f"(1+$B${_RATE['tax_share']})*SUMPRODUCT({amounts}*({ends}))"
    return f"IF(A{row}<$B${_RATE['term_years']},{paid},0)"
