"""Maps and long sections, drawn without any window, session or global state."""

from dewpond.outputs.drawing.branches import section_lines
from dewpond.outputs.drawing.breaks import breaks_map
from dewpond.outputs.drawing.command import command_map
from dewpond.outputs.drawing.comparison import comparison_chart
from dewpond.outputs.drawing.influences import influences_chart
from dewpond.outputs.drawing.lettering import save_png
from dewpond.outputs.drawing.maps import plan_map
from dewpond.outputs.drawing.overview import overview_map
from dewpond.outputs.drawing.pressure import pressure_map
from dewpond.outputs.drawing.reach import reach_map
from dewpond.outputs.drawing.runs import take_runs
from dewpond.outputs.drawing.section_sheet import section_sheet, section_sheets
from dewpond.outputs.drawing.sections import long_section
from dewpond.outputs.drawing.sureness import confidence_map

__all__ = [
    "breaks_map",
    "command_map",
    "comparison_chart",
    "confidence_map",
    "influences_chart",
    "long_section",
    "overview_map",
    "plan_map",
    "pressure_map",
    "reach_map",
    "save_png",
    "section_lines",
    "section_sheet",
    "section_sheets",
    "take_runs",
]
