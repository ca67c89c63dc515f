"""The sheet of assumptions: how quantities, prices, grants, stages and years were worked out."""

from __future__ import annotations

import math
from collections.abc import Iterator

from openpyxl import Workbook

from dewpond.base.measures import money
from dewpond.base.words import words
from dewpond.outputs.schedule.workbook.facts import Facts
from dewpond.outputs.schedule.workbook.page import Page


def add_assumptions(book: Workbook, facts: Facts) -> None:
    """Add the sheet of assumptions, warnings of the costing last."""
    page = Page(book, words("schedule.sheets.assumptions"), (6, 120))
    page.across(1, words("schedule.sheets.assumptions"), "Title of sheet")
    for number, sentence in enumerate(_sentences(facts), start=1):
        page.number(number + 2, 1, number, "Number of row")
        page.text(number + 2, 2, sentence)
    page.print_on_a4()


def _sentences(facts: Facts) -> Iterator[str]:
    project, costing, measures = facts.plan.project, facts.costing, facts.measures
    rates, set_by = costing.rates, project.costing
    features = words("schedule.sheets.features")
    said = "schedule.assumptions."
    yield words(f"{said}caution")
    yield words(f"{said}quantities", waste_percent=100.0 * rates["pipe_waste_share"],
                coil=measures.text("length", set_by.coil_m), sheet=features)  # fmt: skip
    yield words(f"{said}mobile_{set_by.mobile_troughs.replace(' ', '_')}")
    names = list(dict.fromkeys(line.price_source for line in facts.lines))
    yield words(f"{said}prices", names="; ".join(names))
    yield words(f"{said}choice_cost", cost=money(facts.plan.totals["cost"], costing.currency))
    yield words(f"{said}held")
    if project.grant:
        yield words(f"{said}grants")
    if not costing.stages.empty:
        yield words(f"{said}stages", order_by=set_by.order_by)
    if math.isfinite(rates["budget"]):
        yield words(
            f"{said}budget", budget=money(rates["budget"], costing.currency),
            share_percent=100.0 * rates["water_share"],
            bound_percent=100.0 * rates["water_share_bound"],
        )  # fmt: skip
    yield words(f"{said}whole_life", mean_percent=100.0 * set_by.mean_day_share,
                days=set_by.grazing_days, days_between=set_by.days_between_moves)  # fmt: skip
    yield from costing.warnings
