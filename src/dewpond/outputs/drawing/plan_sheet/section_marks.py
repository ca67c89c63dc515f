"""What stands on the line of a long section, and the band of pipes under it."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
from matplotlib.lines import Line2D

from dewpond.base.words import words
from dewpond.outputs.drawing import lettering as letter
from dewpond.outputs.drawing.pipework import HALF_FULL
from dewpond.outputs.drawing.plan_sheet.job import Job
from dewpond.outputs.drawing.plan_sheet.page import Page
from dewpond.outputs.drawing.plan_sheet.paper import MM_PER_POINT
from dewpond.outputs.drawing.plan_sheet.section_frame import (
    BAND_MM,
    ELBOW_MM,
    LABELS_MM,
    Frame,
    label_gap_mm,
)
from dewpond.outputs.drawing.plan_sheet.section_levels import Levels
from dewpond.outputs.drawing.profile import spread_out
from dewpond.outputs.drawing.sheet import KeyEntry
from dewpond.outputs.drawing.symbols import Style

_LABEL_PT, _TEXT_PT, _MARK_PT = 5.8, 5.8, 4.8
_STOPS = {
    "source": ("s", letter.INK),
    "junction": ("D", "white"),
    "outlet": ("o", letter.PIPE),
}
_MARKS: dict[str, Style] = {
    "air_valve": {"marker": "^", "markerfacecolor": "#d55e00", "markeredgecolor": "white"},
    "washout": {"marker": "v", "markerfacecolor": "#117755", "markeredgecolor": "white"},
    "drain": {"marker": "v", "markerfacecolor": "white", "markeredgecolor": "#117755"},
    "break_tank": {"marker": "s", "markeredgecolor": letter.INK, **HALF_FULL},
    "reducing_valve": {"marker": "P", "markerfacecolor": letter.INK, "markeredgecolor": "white"},
}
"""As on the maps."""
_HANGING = ("washout", "drain")


def draw_stops(page: Page, job: Job, frame: Frame, levels: Levels) -> list[KeyEntry]:
    """Mark source, junctions and outlets, each with its name and its heads upright above."""
    stops, large = levels.stops, page.paper.enlarged
    at, ground = frame.x(stops.distance_m), frame.y(stops.ground_m)
    gap = label_gap_mm(large)
    shown = spread_out(at, gap, frame.left_mm - gap / 2, frame.right_mm + gap / 2)
    elbow = frame.top_mm + ELBOW_MM * large
    page.lines(
        [
            [(x, y), (x, frame.top_mm), (to, elbow - 0.5)]
            for x, to, y in zip(at, shown, ground, strict=True)
        ],
        0.35,
        colors=letter.MUTED,
        zorder=2.2,
    )
    half = 0.58 * _LABEL_PT * large * MM_PER_POINT
    for to, texts in zip(shown, stops.texts, strict=True):
        for side, text in zip((-1, 1), texts, strict=True):
            page.text(to + side * half, elbow, text, _LABEL_PT * large, rotation=90, ha="center",
                      va="bottom", room_mm=LABELS_MM * large - 1.0,
                      weight="bold" if side < 0 else "normal")  # fmt: skip
    entries = []
    for kind, (marker, face) in _STOPS.items():
        own = np.array([stop == kind for stop in stops.kinds], dtype=bool)
        if own.any():
            style: Style = {"linestyle": "none", "marker": marker, "markersize": 4.2,
                     "markerfacecolor": face, "markeredgecolor": letter.PIPE}  # fmt: skip
            page.axes.add_line(Line2D(at[own], ground[own], **style, zorder=4))
            entries.append(
                KeyEntry(
                    Line2D([], [], **style),
                    words(f"plan_sheet.section.{kind}", unit=job.measures.sign("head")),
                )
            )
    return entries


def draw_marks(page: Page, frame: Frame, levels: Levels) -> list[KeyEntry]:
    """Draw what stands on the pipe, by its number, above the ground line or below it."""
    entries = []
    for kind, style in _MARKS.items():
        marks = levels.marks[levels.marks["kind"] == kind] if len(levels.marks) else levels.marks
        if not len(marks):
            continue
        full: Style = {"linestyle": "none", "markersize": 4.6, "markeredgewidth": 0.6, **style}
        away = -2.2 if kind in _HANGING else 2.2
        x, y = frame.x(marks["distance_m"]), frame.y(marks["ground_level_m"]) + away
        page.axes.add_line(Line2D(x, y, **full, zorder=4))
        for name, at, level in zip(marks["name"], x, y, strict=True):
            page.text(at + 1.1, level, str(name).rsplit(" ", 1)[-1],
                      _MARK_PT * page.paper.enlarged, va="center")  # fmt: skip
        entries.append(KeyEntry(Line2D([], [], **full), words(f"plan_sheet.section.{kind}")))
    return entries


def draw_band(page: Page, frame: Frame, levels: Levels) -> None:
    """Draw the band under the profile: names of the pipes, then their sizes in like runs."""
    large = page.paper.enlarged
    x = frame.x(levels.stops.distance_m)
    top, foot = frame.foot_mm, frame.foot_mm - BAND_MM * large
    middle = (top + foot) / 2
    page.lines([[(x[0], y), (x[-1], y)] for y in (middle, foot)], 0.35)
    page.lines([[(at, top), (at, middle)] for at in x], 0.35)
    for i, name in enumerate(levels.pipes):
        _write_in(page, x[i], x[i + 1], (top + middle) / 2, (name, name.rsplit(" ", 1)[-1]))
    ends = [x[0]]
    for text, run in itertools.groupby(range(len(levels.sizes)), key=lambda i: levels.sizes[i]):
        members = list(run)
        start, end = x[members[0]], x[members[-1] + 1]
        ends.append(end)
        _write_in(page, start, end, (middle + foot) / 2, (text, text.split(" ")[0]))
    page.lines([[(at, middle), (at, foot)] for at in ends], 0.35)


def _write_in(page: Page, start: float, end: float, y: float, tries: Sequence[str]) -> None:
    """Write the first text that fits between two places, none where none does."""
    size = _TEXT_PT * page.paper.enlarged
    for text in tries:
        if letter.text_size_pt(text, size)[0] * MM_PER_POINT <= end - start - 0.6:
            page.text((start + end) / 2, y, text, size, ha="center", va="center_baseline",
                      color=letter.PIPE)  # fmt: skip
            return
