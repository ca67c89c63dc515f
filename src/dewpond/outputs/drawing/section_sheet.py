"""All long sections side by side on shared scales: which run is critical shows at a glance."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from dewpond.base.measures import Measures
from dewpond.base.model import Plan
from dewpond.base.words import words
from dewpond.outputs.drawing import lettering as letter
from dewpond.outputs.drawing.profile import exaggerations
from dewpond.outputs.drawing.runs import Run, critical_runs, falls_short, spare_text
from dewpond.outputs.drawing.scales import label_in_unit
from dewpond.outputs.drawing.sections import (
    ABOVE_WATER,
    EARTH,
    EARTH_LINE,
    GRADE_DASH,
    STILL_DASH,
)

_WIDTH_IN, _HEIGHT_IN = 8.27, 11.69
_LEFT_IN, _RIGHT_IN, _TOP_IN, _BOTTOM_IN = 0.75, 0.35, 0.85, 0.95
_GAP_X_IN, _GAP_Y_IN = 0.2, 0.34
_ONE_COLUMN, _MOST_ROWS = 5, 7
_HIGHEST_IN = 2.2
"""Few sections are not drawn higher than this; the page is then shorter."""
_TITLE_PT, _TICK_PT = 7.0, 5.5
_LIFT_IN = 0.03
"""Titles of panels stand clear of a heavy frame."""


@dataclass(frozen=True)
class _Frame:
    """How every panel is laid out and scaled: sizes in inches, levels and lengths in metres."""

    columns: int
    rows: int
    panel_in: tuple[float, float]
    page_in: tuple[float, float]
    length_m: float
    low_m: float
    high_m: float
    exaggeration: float


def section_sheets(runs: Sequence[Run]) -> int:
    """Return how many sheets all long sections of a plan take."""
    return math.ceil(len(runs) / _per_sheet(len(runs))) if runs else 0


def section_sheet(plan: Plan, runs: Sequence[Run], sheet: int) -> Figure:
    """Draw one sheet of all long sections, every one to the same two scales.

    Sections that fall short have a heavy frame, or where none does the one whose weakest outlet
    has the least head to spare; that outlet is ringed.

    Parameters
    ----------
    plan : Plan
    runs : sequence of Run
        All of them: they share their scales over all sheets.
    sheet : int
        Number of the sheet, from 1.
    """
    measures = Measures(plan.project.documents.units)
    frame = _frame(runs)
    figure = letter.new_figure(*frame.page_in)
    count = _per_sheet(len(runs))
    shown = runs[(sheet - 1) * count : sheet * count]
    critical = critical_runs(runs)
    for place, run in enumerate(shown):
        axes = _new_panel(figure, frame, place, len(shown), measures)
        _draw_run(axes, run, frame)
        _title(axes, run, measures, frame.panel_in[1])
        if run in critical:
            for spine in axes.spines.values():
                spine.set(color=letter.MISSED, linewidth=2.0, zorder=9)
    _write_titles(figure, plan, runs, frame, sheet, measures)
    _draw_key(figure, figure.axes, runs)
    return figure


def _per_sheet(count: int) -> int:
    """Return how many sections stand on a sheet: as many on each as they share out evenly."""
    if count <= _ONE_COLUMN:
        return max(count, 1)
    sheets = math.ceil(count / (2 * _MOST_ROWS))
    return math.ceil(count / sheets / 2) * 2


def _frame(runs: Sequence[Run]) -> _Frame:
    columns = 1 if len(runs) <= _ONE_COLUMN else 2
    rows = math.ceil(_per_sheet(len(runs)) / columns)
    wide = (_WIDTH_IN - _LEFT_IN - _RIGHT_IN - _GAP_X_IN * (columns - 1)) / columns
    room = _HEIGHT_IN - _TOP_IN - _BOTTOM_IN
    high = min(room / rows - _GAP_Y_IN, _HIGHEST_IN)
    page = _WIDTH_IN, _TOP_IN + _BOTTOM_IN + rows * (high + _GAP_Y_IN)
    water = ["ground_level_m", "static_level_m", "grade_level_m"]
    levels = np.vstack([run.levels[water].to_numpy(float) for run in runs])
    low, top = float(np.nanmin(levels[:, 0])), float(np.nanmax(levels))
    length = max(float(run.levels["distance_m"].max()) for run in runs) or 1.0
    per_inch = length * 1.04 / wide
    for exaggeration in exaggerations():
        rise = per_inch / exaggeration
        # Room for the earth under the lowest ground, and for air above the water.
        if (top - low) / rise <= high - 0.25:
            break
    spare = high * rise - (top - low)
    low -= spare / 2
    return _Frame(columns, rows, (wide, high), page, length, low, low + high * rise, exaggeration)


def _new_panel(figure: Figure, frame: _Frame, place: int, count: int, measures: Measures) -> Axes:
    """Return the axes of a panel; only the outer ones carry figures."""
    row, column = divmod(place, frame.columns)
    wide, high = frame.panel_in
    page_wide, page_high = frame.page_in
    left = _LEFT_IN + column * (wide + _GAP_X_IN)
    foot = page_high - _TOP_IN - (row + 1) * (high + _GAP_Y_IN)
    box = left / page_wide, foot / page_high, wide / page_wide, high / page_high
    axes = figure.add_axes(box)
    axes.set_xlim(-0.02 * frame.length_m, 1.02 * frame.length_m)
    axes.set_ylim(frame.low_m, frame.high_m)
    unit = 1 / measures.value("length", 1.0)
    label_in_unit(axes.xaxis, unit)
    label_in_unit(axes.yaxis, unit)
    axes.tick_params(
        length=2, width=0.5, color=letter.MUTED, labelcolor=letter.INK, pad=1.5,
        labelleft=column == 0, labelbottom=place + frame.columns >= count,
    )  # fmt: skip
    for text in (*axes.get_xticklabels(), *axes.get_yticklabels()):
        text.set_fontproperties(letter.font(_TICK_PT))
    axes.grid(axis="y", color=letter.FAINT, linewidth=0.4, zorder=0)
    axes.set_axisbelow(True)
    for spine in axes.spines.values():
        spine.set(color=letter.MUTED, linewidth=0.6)
    return axes


def _draw_run(axes: Axes, run: Run, frame: _Frame) -> None:
    levels = run.levels
    x, ground, still, grade = (
        levels[column].to_numpy(float)
        for column in ("distance_m", "ground_level_m", "static_level_m", "grade_level_m")
    )
    axes.fill_between(x, ground, frame.low_m, color=EARTH, linewidth=0, zorder=1)
    for level, key, colour, width, dash in (
        (ground, "ground", EARTH_LINE, 1.1, "solid"),
        (still, "still", letter.STILL_WATER, 0.9, STILL_DASH),
        (grade, "grade", letter.PIPE, 1.1, GRADE_DASH),
    ):
        if np.isfinite(level).any():
            axes.plot(
                x, level, color=colour, linewidth=width, linestyle=dash, zorder=3,
                label=words(f"maps.section.{key}"),
            )  # fmt: skip
    water = np.fmin(still, grade)
    if (ground > water).any():
        axes.fill_between(
            x, ground, water, where=(ground > water).tolist(), interpolate=True,
            facecolor=ABOVE_WATER, linewidth=0, zorder=2.8,
            label=words("maps.section.above_water"),
        )  # fmt: skip
    outlet = np.array([kind == "outlet" for kind in run.stops.kinds], dtype=bool)
    axes.plot(
        run.stops.distance_m[outlet], run.stops.ground_m[outlet], linestyle="none", marker="o",
        markersize=3.4, markerfacecolor=letter.PIPE, markeredgecolor="white", zorder=6,
        markeredgewidth=0.5, label=words("maps.section.outlet"),
    )  # fmt: skip
    if run.weakest in run.stops.names:
        at = run.stops.names.index(run.weakest)
        axes.plot(
            run.stops.distance_m[at], run.stops.ground_m[at], linestyle="none", marker="o",
            markersize=7.5, markerfacecolor="none", markeredgecolor=letter.MISSED, zorder=6.1,
            markeredgewidth=1.1, label=words("maps.sections.weakest"),
        )  # fmt: skip


def _title(axes: Axes, run: Run, measures: Measures, high_in: float) -> None:
    """Write number and end of the run over its panel, and what it has to spare at the right."""
    name = words("maps.sections.run", number=run.number, end=letter.plain(run.end, 24))
    spare = spare_text(run, measures)
    lift = _LIFT_IN / high_in
    for x, side, text, weight in ((0.0, "left", name, "bold"), (1.0, "right", spare, "normal")):
        axes.text(
            x, 1.0 + lift, letter.minus(text), transform=axes.transAxes, ha=side, va="bottom",
            color=letter.INK, fontproperties=letter.font(_TITLE_PT, weight), parse_math=False,
        )  # fmt: skip


def _write_titles(
    figure: Figure,
    plan: Plan,
    runs: Sequence[Run],
    frame: _Frame,
    sheet: int,
    measures: Measures,
) -> None:
    page_high = frame.page_in[1]
    title = words(
        "maps.title.sections",
        holding=letter.plain(plan.holding.name, 45),
        page=sheet,
        pages=section_sheets(runs),
    )
    lines = [words("maps.sections.subtitle", exaggeration=f"{frame.exaggeration:g}")]
    worst, *others = critical_runs(runs)
    if falls_short(worst):
        lines.append(words("maps.sections.fall_short", count=1 + len(others), all=len(runs)))
    else:
        lines.append(
            words(
                "maps.sections.critical",
                number=worst.number,
                head=measures.text("head", worst.spare_m),
                outlet=letter.plain(worst.weakest, 30),
            )
        )
    unit = measures.sign("length")
    rows = [(title, 12.0, "bold", letter.INK, 0.2)]
    rows += [(line, 7.5, "normal", letter.MUTED, 0.45 + 0.16 * i) for i, line in enumerate(lines)]
    room_pt = (_WIDTH_IN - 0.7) * letter.POINTS_PER_INCH
    for text, size, weight, colour, down_in in rows:
        shown, size_pt = letter.fit(text, size, room_pt, weight)
        figure.text(
            0.35 / _WIDTH_IN, 1 - down_in / page_high, shown, va="top", color=colour,
            fontproperties=letter.font(size_pt, weight), parse_math=False,
        )  # fmt: skip
    middle = (_BOTTOM_IN + page_high - _TOP_IN) / 2 / page_high
    for x, y, text, turn in (
        (0.5, 0.62 / page_high, words("maps.section.distance", unit=unit), 0),
        (0.28 / _WIDTH_IN, middle, words("maps.section.level", unit=unit), 90),
    ):
        figure.text(
            x, y, text, rotation=turn, ha="center", va="center", color=letter.INK,
            fontproperties=letter.font(7), parse_math=False,
        )  # fmt: skip


def _draw_key(figure: Figure, panels: Sequence[Axes], runs: Sequence[Run]) -> None:
    """Write one line of the key for each thing drawn in any panel."""
    found: dict[str, Artist] = {}
    for axes in panels:
        for handle, label in zip(*axes.get_legend_handles_labels(), strict=True):
            found.setdefault(label, handle)
    frame = Patch(facecolor="white", edgecolor=letter.MISSED, linewidth=1.8)
    short = any(falls_short(run) for run in runs)
    found[words(f"maps.sections.{'marked_short' if short else 'marked'}")] = frame
    legend = figure.legend(
        handles=list(found.values()), labels=list(found), loc="lower left", ncols=3,
        bbox_to_anchor=(0.35 / _WIDTH_IN, 0.1 / figure.get_size_inches()[1]),
        prop=letter.font(6.5), frameon=False, borderaxespad=0, borderpad=0,
    )  # fmt: skip
    for text in legend.get_texts():
        text.set_parse_math(False)
        text.set_color(letter.INK)
