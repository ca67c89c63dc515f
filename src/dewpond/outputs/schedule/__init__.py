"""The priced schedule of quantities: a workbook with live formulas, and the same lines as CSV."""

from dewpond.outputs.schedule.as_csv import quantities_csv
from dewpond.outputs.schedule.workbook import quantities_xlsx

__all__ = ["quantities_csv", "quantities_xlsx"]
