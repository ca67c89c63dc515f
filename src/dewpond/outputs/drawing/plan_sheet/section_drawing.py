"""One long section at true scales along and up, drawn in millimetres of paper."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, Rectangle

from dewpond.base.words import words
from dewpond.outputs.drawing import lettering as letter
from dewpond.outputs.drawing.plan_sheet.job import Job
from dewpond.outputs.drawing.plan_sheet.page import Page, one_line
from dewpond.outputs.drawing.plan_sheet.section_frame import (
    AXIS_MM,
    BAND_MM,
    BELOW_MM,
    ELBOW_MM,
    LABELS_MM,
    STEPS,
    TITLE_MM,
    Frame,
    Place,
    SectionScales,
    level_step,
)
from dewpond.outputs.drawing.plan_sheet.section_levels import Levels
from dewpond.outputs.drawing.plan_sheet.section_marks import draw_band, draw_marks, draw_stops
from dewpond.outputs.drawing.scales import round_up
from dewpond.outputs.drawing.sheet import KeyEntry
from dewpond.outputs.drawing.symbols import Style

_TICK_PT, _TITLE_PT, _TEXT_PT = 5.2, 7.5, 5.8
_DISTANCES_MM = 18.0
_EARTH, _EARTH_LINE = "#e9e0d2", "#6b5335"
_LINES: Sequence[tuple[str, str, str, float, Any]] = (
    ("static_level_m", "still", letter.STILL_WATER, 0.9, (0, (6, 2.5))),
    ("grade_level_m", "grade", letter.PIPE, 1.1, "solid"),
    ("class_limit_level_m", "class_limit", "#8c1d40", 0.9, (0, (5, 1.5, 1, 1.5))),
)
"""Lines are told apart by their dashes: they must read in grey as well."""


def draw_section(
    page: Page, job: Job, levels: Levels, scales: SectionScales, place: Place, number: int
) -> list[KeyEntry]:
    """Draw a section; return the lines of the key for what it shows.

    Parameters
    ----------
    page : Page
    job : Job
    levels : Levels
    scales : SectionScales
    place : Place
    number : int
        Number of the section, for its title.
    """
    large = page.paper.enlarged
    factor = job.measures.value("level", 1.0)
    step_m = level_step(scales.up, large, factor) / factor
    foot = place.foot_mm + (AXIS_MM + BAND_MM) * large
    frame = Frame(
        place.left_mm, foot, place.right_mm, foot + scales.height_mm, levels.start_m,
        levels.low_m - BELOW_MM * scales.up / 1000, scales,
    )  # fmt: skip
    entries = _draw_levels(page, frame, levels)
    _draw_axes(page, job, frame, levels, step_m)
    entries += draw_stops(page, job, frame, levels)
    entries += draw_marks(page, frame, levels)
    draw_band(page, frame, levels)
    _write_title(page, job, frame, levels, number)
    return entries


def _draw_levels(page: Page, frame: Frame, levels: Levels) -> list[KeyEntry]:
    table, axes = levels.table, page.axes
    x, ground = frame.x(table["distance_m"]), frame.y(table["ground_level_m"])
    axes.fill_between(x, ground, frame.foot_mm, color=_EARTH, linewidth=0, zorder=1)
    axes.add_line(Line2D(x, ground, color=_EARTH_LINE, linewidth=1.2, zorder=2.6))
    earth = Line2D([], [], color=_EARTH_LINE, linewidth=1.2)
    entries = [KeyEntry(earth, words("plan_sheet.section.ground"))]
    seen = Rectangle(
        (frame.left_mm, frame.foot_mm),
        frame.right_mm - frame.left_mm,
        frame.top_mm - frame.foot_mm,
        transform=axes.transData,
    )
    for column, name, colour, width, dash in _LINES:
        y = frame.y(table[column])
        if not (np.isfinite(y).any() and np.nanmin(y) < frame.top_mm):
            continue
        style: Style = {"color": colour, "linewidth": width, "linestyle": dash}
        line = axes.add_line(Line2D(x, y, **style, zorder=2.4))
        line.set_clip_path(seen)  # only now: adding it had clipped it to the page
        entries.append(KeyEntry(Line2D([], [], **style), words(f"plan_sheet.section.{name}")))
    water = np.minimum(frame.y(table["static_level_m"]), np.nan_to_num(
        frame.y(table["grade_level_m"]), nan=np.inf))  # fmt: skip
    if (ground > water + 1e-9).any():
        dry: Style = {"facecolor": "#efb9b0", "linewidth": 0}
        axes.fill_between(x, ground, np.maximum(water, frame.foot_mm),
                          where=(ground > water).tolist(), interpolate=True, zorder=1.5,
                          **dry)  # fmt: skip
        entries.append(KeyEntry(Patch(**dry), words("plan_sheet.section.dry")))
    return entries


def _draw_axes(page: Page, job: Job, frame: Frame, levels: Levels, step_m: float) -> None:
    """Draw the frame, rules at round levels, and distances along the foot of the band."""
    large = page.paper.enlarged
    end = float(frame.x(levels.start_m + levels.length_m))
    high_m = frame.low_m + frame.scales.height_mm * frame.scales.up / 1000
    first, last = math.ceil(frame.low_m / step_m), math.floor(high_m / step_m)
    at = step_m * np.arange(first, last + 1)
    page.lines([[(frame.left_mm, y), (end, y)] for y in frame.y(at)], 0.25, colors=letter.FAINT,
               zorder=0.9)  # fmt: skip
    page.lines([[(frame.left_mm, frame.foot_mm), (frame.left_mm, frame.top_mm)],
                [(frame.left_mm, frame.foot_mm), (end, frame.foot_mm)]], 0.5)  # fmt: skip
    decimals = 0 if float(step_m * job.measures.value("level", 1.0)).is_integer() else 1
    for level, y in zip(at, frame.y(at), strict=True):
        page.text(frame.left_mm - 1.8, float(y), job.measures.figure("level", level, decimals),
                  _TICK_PT * large, ha="right", va="center")  # fmt: skip
    factor = job.measures.value("length", 1.0)
    step = round_up(_DISTANCES_MM * large * frame.scales.along / 1000 * factor, STEPS)
    start, finish = levels.start_m * factor, (levels.start_m + levels.length_m) * factor
    foot = frame.foot_mm - BAND_MM * large
    for value in step * np.arange(math.ceil(start / step - 1e-9), math.floor(finish / step) + 1):
        x = float(frame.x(value / factor))
        page.lines([[(x, foot), (x, foot - 1.2)]], 0.4)
        page.text(x, foot - 1.6, f"{value:,.0f}", _TICK_PT * large, ha="center", va="top")


def _write_title(page: Page, job: Job, frame: Frame, levels: Levels, number: int) -> None:
    large = page.paper.enlarged
    network = job.plan.network
    y = frame.top_mm + (ELBOW_MM + LABELS_MM + TITLE_MM) * large
    room = frame.right_mm - frame.left_mm + 12.0 * large
    title = words(
        "plan_sheet.section.title",
        number=number,
        start=one_line(str(network.pipes.at[levels.pipes[0], "from_node"]), 40),
        end=one_line(str(network.pipes.at[levels.pipes[-1], "to_node"]), 40),
    )
    text = words(
        "plan_sheet.section.figures",
        length=job.measures.text("length", levels.length_m),
        along=f"1:{frame.scales.along:,.0f}",
        up=f"1:{frame.scales.up:,.0f}",
    )
    left = frame.left_mm - 11.0 * large
    page.text(left, y - 0.6, title, _TITLE_PT * large, weight="bold", va="top", room_mm=room)
    page.text(left, y - 3.9 * large, text, _TEXT_PT * large, va="top", room_mm=room,
              color=letter.MUTED)  # fmt: skip
