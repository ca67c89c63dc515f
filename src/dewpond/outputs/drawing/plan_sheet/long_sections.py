"""Sheets of long sections: their scales, and where on the sheets each stands."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import numpy as np

from dewpond.base.words import words
from dewpond.outputs.drawing import lettering as letter
from dewpond.outputs.drawing.plan_sheet.branch_lines import branch_lines
from dewpond.outputs.drawing.plan_sheet.job import Draft, Job
from dewpond.outputs.drawing.plan_sheet.page import Page, wrapped
from dewpond.outputs.drawing.plan_sheet.paper import (
    MM_PER_POINT,
    Paper,
    round_scales,
    scale_text,
)
from dewpond.outputs.drawing.plan_sheet.section_drawing import draw_section
from dewpond.outputs.drawing.plan_sheet.section_frame import (
    Place,
    SectionScales,
    around_mm,
    label_gap_mm,
    profile_mm,
)
from dewpond.outputs.drawing.plan_sheet.section_levels import Levels, take_levels
from dewpond.outputs.drawing.sheet import KeyEntry

_ROW_MM, _KEY_MM, _BETWEEN_MM = 74.0, 6.0, 4.0
"""Least height of a row of sections, height of the key above them, room between sections."""
_NOTE_MM = 62.0
_AXIS_MM, _END_MM, _LEAST_LINE_MM = 12.0, 6.0, 34.0
"""Room left and right of the line of a section, and the least for the line itself."""
_FINER = (20, 50, 100, 200, 250)
_LEAST_EXAGGERATED, _MOST_EXAGGERATED = 2.0, 50.0


def section_drafts(job: Job) -> list[Draft]:
    """Return the sheets of long sections: all at the same scales, several on a sheet.

    Every pipe stands in one section: that of its main, or of its branch.

    Parameters
    ----------
    job : Job
    """
    paper = job.paper
    left, _, right, _ = paper.body_mm
    room_mm = right - left - (_AXIS_MM + _END_MM) * paper.enlarged
    most = max(int(room_mm / label_gap_mm(paper.enlarged)) - 1, 2)
    lines = branch_lines(job.plan.network, most)
    if not lines:
        return []
    levels = [take_levels(job, line) for line in lines]
    scales = _scales(job, levels, room_mm)
    title = words("plan_sheet.drawing.sections")
    text = words(
        "plan_sheet.section.scales",
        along=scale_text(scales.along, "metric"),
        up=scale_text(scales.up, "metric"),
    )
    return [
        Draft(
            title, text, partial(_draw_sheet, job=job, levels=levels, scales=scales, sheet=sheet)
        )
        for sheet in _pack(paper, levels, scales)
    ]


def _scales(job: Job, levels: Sequence[Levels], room_mm: float) -> SectionScales:
    """Return the largest round scales at which the longest and the tallest section fit.

    Rows are the fewer the more it takes for heights to be seen.
    """
    choice = (*_FINER, *round_scales("metric"))
    if job.measures.system == "US customary":
        choice = (120, 240, 360, *round_scales("US customary"))
    longest_m = max(one.length_m for one in levels)
    along = next((s for s in choice if longest_m * 1000 / s <= room_mm), choice[-1])
    for rows in range(_most_rows(job.paper), 0, -1):
        height_mm = _row_mm(job.paper, rows) - around_mm(job.paper.enlarged)
        up = next(
            (
                scale
                for scale in choice
                if along / scale <= _MOST_EXAGGERATED
                and all(profile_mm(one.low_m, one.high_m, scale) <= height_mm for one in levels)
            ),
            choice[-1],
        )
        if along / up >= _LEAST_EXAGGERATED:
            break
    return SectionScales(along, up, height_mm, rows)


def _most_rows(paper: Paper) -> int:
    return max(int((_rows_mm(paper) + _BETWEEN_MM) // (_ROW_MM * paper.enlarged)), 1)


def _rows_mm(paper: Paper) -> float:
    _, foot, _, top = paper.body_mm
    return top - foot - _KEY_MM * paper.enlarged


def _row_mm(paper: Paper, rows: int) -> float:
    """Return the height of a row, so that rows fill the sheet."""
    return (_rows_mm(paper) - (rows - 1) * _BETWEEN_MM) / rows


def _pack(
    paper: Paper, levels: Sequence[Levels], scales: SectionScales
) -> list[list[tuple[int, Place]]]:
    """Set sections side by side in rows, the rows down the sheets."""
    large = paper.enlarged
    left, foot, right, top = paper.body_mm
    row = _row_mm(paper, scales.rows)
    sheets: list[list[tuple[int, Place]]] = []
    x, y = right, foot  # full: the first section opens a sheet
    for number, one in enumerate(levels):
        line_mm = max(
            one.length_m * 1000 / scales.along,
            _LEAST_LINE_MM * large,
            (len(one.stops.texts) + 1) * label_gap_mm(large),
        )
        wide = line_mm + (_AXIS_MM + _END_MM) * large
        if x + wide > right + 1e-6:
            x, y = left, y - row - _BETWEEN_MM
            if y < foot - 1e-6:
                sheets.append([])
                y = top - _KEY_MM * large - row
        sheets[-1].append((number, Place(x + _AXIS_MM * large, y, x + wide - _END_MM * large)))
        x += wide + _BETWEEN_MM
    return sheets


def _draw_sheet(
    page: Page,
    job: Job,
    levels: Sequence[Levels],
    scales: SectionScales,
    sheet: Sequence[tuple[int, Place]],
) -> None:
    shown: dict[str, KeyEntry] = {}
    for number, place in sheet:
        for entry in draw_section(page, job, levels[number], scales, place, number + 1):
            shown.setdefault(entry.label, entry)
    note = words(
        "plan_sheet.section.note",
        unit=job.measures.sign("length"),
        times=scales.along / scales.up,
    )
    _draw_key(page, list(shown.values()), note)


def _draw_key(page: Page, entries: Sequence[KeyEntry], note: str) -> None:
    """Draw the key of the lines and symbols along the head of the sheet, and a note beside."""
    left, _, right, top = page.paper.body_mm
    size = 6.0 * page.paper.enlarged
    room = _NOTE_MM * page.paper.enlarged
    right -= room + _BETWEEN_MM
    for i, line in enumerate(wrapped(note, size, room)):
        page.text(right + _BETWEEN_MM, top - i * size * letter.LINE_SPACING * MM_PER_POINT, line,
                  size, va="top", room_mm=room)  # fmt: skip
    while size > 3:
        legend = page.axes.legend(
            handles=[entry.handle for entry in entries],
            labels=[entry.label for entry in entries],
            loc="upper left",
            bbox_to_anchor=(left, top),
            bbox_transform=page.axes.transData,
            ncols=int(np.ceil(len(entries) / 2)),
            prop=letter.font(size),
            frameon=False,
            borderaxespad=0,
            borderpad=0,
            handlelength=2.4,
            labelspacing=0.3,
            columnspacing=1.4,
        )
        box = legend.get_window_extent().transformed(page.axes.transData.inverted())
        if box.x1 <= right:
            break
        legend.remove()
        size -= 0.3
    for text in legend.get_texts():
        text.set_parse_math(False)
        text.set_color(letter.INK)
