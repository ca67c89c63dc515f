"""Plan sheets: the scheme on paper at a true, round scale, with schedules and long sections."""

from dewpond.outputs.drawing.plan_sheet.write import save_plan_sheets

__all__ = ["save_plan_sheets"]
