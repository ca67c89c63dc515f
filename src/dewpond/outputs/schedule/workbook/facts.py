"""What the sheets are filled from, and where their cells stand, so that formulas find them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from dewpond.base.measures import Measures
from dewpond.base.model import Costing, Plan
from dewpond.base.settings import GrantSettings
from dewpond.outputs.schedule.lines import Line, schedule_lines

SCHEDULE_HEAD, GRANTS_HEAD, STAGES_HEAD, PARTS_HEAD = 6, 4, 6, 4
"""Row of the heads of columns in each sheet."""
TOTALS = ("net", "contingency", "tax", "gross", "grant", "to_pay")
HOLDERS = ("landlord", "tenant", "portable")


@dataclass(frozen=True, eq=False)
class Facts:
    """A plan with its costing, in the units of the documents."""

    plan: Plan
    costing: Costing

    @cached_property
    def measures(self) -> Measures:
        """Units that the documents print."""
        return Measures(self.plan.project.documents.units)

    @cached_property
    def lines(self) -> list[Line]:
        """Lines of the schedule in the order of printing."""
        return schedule_lines(self.costing, self.measures)

    @cached_property
    def works(self) -> list[str]:
        """Headings that hold lines, in their order."""
        return list(dict.fromkeys(line.work for line in self.lines))

    @cached_property
    def line_rows(self) -> list[int]:
        """Row of each line in the schedule: headings and subtotals stand between."""
        rows, row = [], SCHEDULE_HEAD
        for number, line in enumerate(self.lines):
            if number == 0 or line.work != self.lines[number - 1].work:
                row += 2 if number else 1
            row += 1
            rows.append(row)
        return rows

    def rows_of(self, work: str) -> tuple[int, int]:
        """Return the first and last row of the lines of a heading."""
        rows = [r for r, line in zip(self.line_rows, self.lines, strict=True) if line.work == work]
        return rows[0], rows[-1]

    @cached_property
    def total_rows(self) -> Mapping[str, int]:
        """Row of each total in the schedule, the holders after them."""
        first = (self.line_rows[-1] if self.lines else SCHEDULE_HEAD) + 3
        rows = {name: first + number for number, name in enumerate(TOTALS)}
        after = first + len(TOTALS) + 2
        return {**rows, **{name: after + number for number, name in enumerate(HOLDERS)}}

    @cached_property
    def paid_lines(self) -> list[tuple[int, GrantSettings]]:
        """Positions of the lines that a grant names, with the grant, grant after grant."""
        return [
            (number, grant)
            for grant in self.plan.project.grant
            for number, line in enumerate(self.lines)
            if line.grant_name == grant.name
        ]

    @cached_property
    def due_rows(self) -> Mapping[int, int]:
        """Row in the sheet of grants of each line that one names."""
        first = GRANTS_HEAD + len(self.plan.project.grant) + 5
        return {number: first + at for at, (number, _) in enumerate(self.paid_lines)}

    @cached_property
    def source_name(self) -> str:
        """Name of the source in use."""
        return self.plan.holding.sources[self.plan.network.source].name

    @property
    def has_samples(self) -> bool:
        """Whether any price is an invented sample."""
        return any("invented" in line.price_source for line in self.lines)
