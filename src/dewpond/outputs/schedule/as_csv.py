"""The lines of the schedule as CSV, for other programs and for checking."""

from __future__ import annotations

import csv
import io
import math

from dewpond.base.cells import harmless_cell
from dewpond.base.measures import Measures
from dewpond.base.model import Costing, Plan
from dewpond.outputs.schedule.lines import Line, schedule_lines

_COLUMNS = (
    "item", "work", "code", "description", "quantity", "unit", "rate", "amount", "holder", "grant",
    "grant_name", "stages", "features", "parcels", "life_years", "price_source",
)  # fmt: skip
_TOTALS = ("net", "contingency", "tax", "gross", "grant", "to_pay")


def quantities_csv(plan: Plan, costing: Costing) -> str:
    """Return ``quantities.csv``: the lines of the workbook, then its totals.

    Parameters
    ----------
    plan : Plan
    costing : Costing
        Of the scheme in use.

    Returns
    -------
    str
        UTF-8 text with a header, lines ended by CR LF (RFC 4180). Text that a spreadsheet would
        take for a formula starts with an apostrophe; items of a list stand apart by ``; ``, parts
        of a quantity in stages as ``stage: quantity``. Totals have ``total`` as their work and
        their name as the code.
    """
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(_COLUMNS)
    for line in schedule_lines(costing, Measures(plan.project.documents.units)):
        writer.writerow(_cells(line))
    for name in _TOTALS:
        row = dict.fromkeys(_COLUMNS, "")
        row |= {"work": "total", "code": name, "amount": f"{costing.totals[name]:.2f}"}
        row["unit"] = costing.currency
        writer.writerow(row.values())
    return text.getvalue()


def _cells(line: Line) -> list[str]:
    stages = "; ".join(f"{stage}: {quantity:.3f}" for stage, quantity in line.stages)
    return [
        line.item,
        line.work,
        harmless_cell(line.code),
        harmless_cell(line.description),
        f"{line.quantity:.6f}",
        harmless_cell(line.unit),
        f"{line.rate:.6f}",
        f"{line.amount:.2f}",
        line.holder,
        f"{line.grant:.2f}",
        harmless_cell(line.grant_name),
        stages,
        harmless_cell("; ".join(line.features)),
        harmless_cell("; ".join(line.parcels)),
        "" if math.isnan(line.life_years) else f"{line.life_years:g}",
        harmless_cell(line.price_source),
    ]
