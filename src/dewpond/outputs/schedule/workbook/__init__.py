"""The schedule as a workbook: every amount a formula of the quantities and rates in it."""

from dewpond.outputs.schedule.workbook.make import quantities_xlsx

__all__ = ["quantities_xlsx"]
