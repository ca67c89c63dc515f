"""The workbook put together and written, the same bytes for the same plan."""

from __future__ import annotations

import io
import re
import zipfile

from openpyxl import Workbook

from dewpond.base.cells import one_line
from dewpond.base.model import Costing, Plan
from dewpond.base.words import words
from dewpond.outputs.schedule.workbook.assumptions_sheet import add_assumptions
from dewpond.outputs.schedule.workbook.facts import Facts
from dewpond.outputs.schedule.workbook.features_sheet import add_features
from dewpond.outputs.schedule.workbook.grants_sheet import add_grants
from dewpond.outputs.schedule.workbook.page import add_styles
from dewpond.outputs.schedule.workbook.schedule_sheet import add_schedule
from dewpond.outputs.schedule.workbook.stages_sheet import add_stages
from dewpond.outputs.schedule.workbook.whole_life_sheet import add_whole_life

_FIXED_TIME = "2000-01-01T00:00:00Z"
_FIRST_ZIP_TIME = (1980, 1, 1, 0, 0, 0)
"""The earliest time that a zip file can hold."""


def quantities_xlsx(plan: Plan, costing: Costing) -> bytes:
    """Return ``quantities.xlsx``.

    Parameters
    ----------
    plan : Plan
        Its other schemes are compared over their whole life, where they are costed.
    costing : Costing
        Of the scheme in use.

    Returns
    -------
    bytes
        Office Open XML (ECMA-376). Amounts, subtotals, totals, grants, stages and present values
        are formulas of the quantities and rates in it; names are text, whatever they look like.
    """
    facts = Facts(plan, costing)
    book = Workbook()
    book.remove(book.worksheets[0])
    add_styles(book)
    add_schedule(book, facts)
    add_grants(book, facts)
    add_stages(book, facts)
    add_whole_life(book, facts)
    add_features(book, facts)
    add_assumptions(book, facts)
    book.properties.creator = words("schedule.creator")
    book.properties.title = one_line(words("schedule.title", holding=plan.holding.name))
    book.calculation.fullCalcOnLoad = True
    made = io.BytesIO()
    book.save(made)
    return _without_times(made.getvalue())


def _without_times(made: bytes) -> bytes:
    """Return the same workbook with fixed times in its archive and its properties."""
    fixed = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(made)) as old, zipfile.ZipFile(fixed, "w") as new:
        for name in old.namelist():
            part = old.read(name)
            if name == "docProps/core.xml":
                part = re.sub(rb"\d{4}-\d\d-\d\dT[\d:.]+Z", _FIXED_TIME.encode(), part)
            entry = zipfile.ZipInfo(name, _FIRST_ZIP_TIME)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.external_attr = 0o644 << 16
            new.writestr(entry, part)
    return fixed.getvalue()
