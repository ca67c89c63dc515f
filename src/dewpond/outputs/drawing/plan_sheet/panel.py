"""The panel beside a map: legend, key to the sheets, north point, scale bar, cautions."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.lines import Line2D

from dewpond.base.units import METRES_PER_FOOT
from dewpond.base.words import words
from dewpond.outputs.drawing import lettering as letter
from dewpond.outputs.drawing.plan_sheet.division import Tile
from dewpond.outputs.drawing.plan_sheet.grid import grid_north_degrees
from dewpond.outputs.drawing.plan_sheet.job import Job
from dewpond.outputs.drawing.plan_sheet.page import Page, one_line, wrapped
from dewpond.outputs.drawing.plan_sheet.paper import MM_PER_POINT, Extent, scale_text
from dewpond.outputs.drawing.plan_sheet.sheet_key import draw_sheet_key
from dewpond.outputs.drawing.scales import round_down
from dewpond.outputs.drawing.sheet import KeyEntry

_HEADING_PT, _TEXT_PT, _CAUTION_PT, _LEGEND_PT = 7.0, 5.6, 5.2, 6.6
_NORTH_MM, _BAR_MM, _KEY_MM, _GAP_MM = 15.0, 11.0, 30.0, 2.5
_LEAST_LEGEND_PT = 4.2


def grid_entry(interval_m: float) -> list[KeyEntry]:
    """Return the line of the legend for the crosses of the grid."""
    handle = Line2D([], [], linestyle="none", marker="+", markersize=7, color=letter.INK,
                    markeredgewidth=0.4)  # fmt: skip
    return [KeyEntry(handle, words("plan_sheet.legend.grid", interval_m=interval_m))]


def draw_panel(page: Page, job: Job, tile: Tile, entries: Sequence[KeyEntry]) -> None:
    """Draw the panel; the legend takes what the rest leaves.

    Parameters
    ----------
    page : Page
    job : Job
    tile : Tile
    entries : sequence of KeyEntry
        Lines of the legend: what this map shows, no more.
    """
    left, foot, right, top = page.paper.panel_mm
    large = page.paper.enlarged
    y = _write_cautions(page, job, (left, foot, right, top)) + _GAP_MM * large
    page.lines([[(left, y), (right, y)]], 0.3)
    y += _GAP_MM * large
    draw_scale_bar(page, job, (left, y, right, y + _BAR_MM * large))
    y += (_BAR_MM + _GAP_MM) * large
    _draw_north(page, job, tile, (left, y, right, y + _NORTH_MM * large))
    y += (_NORTH_MM + _GAP_MM) * large
    if len(job.division.tiles) > 1:
        page.lines([[(left, y), (right, y)]], 0.3)
        y += _GAP_MM * large / 2
        draw_sheet_key(page, job, tile, (left, y, right, y + _KEY_MM * large))
        y += (_KEY_MM + _GAP_MM) * large
    page.lines([[(left, y), (right, y)]], 0.3)
    _draw_legend(page, entries, (left, y + _GAP_MM * large / 2, right, top))


def _write_cautions(page: Page, job: Job, room: Extent) -> float:
    """Write what the reader must know, from the foot upwards; return where it ends."""
    left, foot, right, _ = room
    large = page.paper.enlarged
    pitch = _CAUTION_PT * large * letter.LINE_SPACING * MM_PER_POINT
    width = right - left
    lines: list[tuple[str, str]] = []
    for text, weight in _cautions(job):
        # Bold letters are about a tenth wider than the ones the lines are measured with.
        space = width * (0.88 if weight == "bold" else 1.0)
        lines += [(line, weight) for line in wrapped(text, _CAUTION_PT * large, space)]
    y = foot + pitch * (len(lines) - 1) + 0.6
    end = y + pitch
    for line, weight in lines:
        page.text(left, y, line, _CAUTION_PT * large, room_mm=width, weight=weight)
        y -= pitch
    return end


def _cautions(job: Job) -> list[tuple[str, str]]:
    texts = []
    failed = [verdict for verdict in job.plan.verdicts if not verdict.met]
    if failed:
        texts.append(
            (
                words("plan_sheet.not_met", failed=len(failed), count=len(job.plan.verdicts)),
                "bold",
            )
        )
    if job.division.asked is not None:
        system = job.measures.system
        texts.append(
            (
                words(
                    "plan_sheet.scale_not_kept",
                    asked=scale_text(job.division.asked, system),
                    scale=scale_text(job.division.scale, system),
                ),
                "bold",
            )
        )
    return [*texts, (words("plan_sheet.cautions"), "normal")]


def draw_scale_bar(page: Page, job: Job, room: Extent) -> None:
    """Draw a bar of a round length, in the units of the documents, with the scale in figures."""
    left, foot, right, _ = room
    large = page.paper.enlarged
    unit_m = 1.0 if job.measures.system == "metric" else METRES_PER_FOOT
    per_mm = job.division.scale / 1000 / unit_m
    whole = round_down((right - left) * 0.82 * per_mm)
    part = whole / 4 / per_mm
    bar = foot + 4.2 * large
    for i in range(4):
        page.box(
            (left + i * part, bar, left + (i + 1) * part, bar + 1.8 * large),
            0.5,
            facecolor=letter.INK if i % 2 == 0 else "white",
        )
    sign = job.measures.sign("length")
    for share in (0, 1, 2, 4):
        figure = f"{whole * share / 4:g}"
        page.text(
            left + share * part, bar + 2.6 * large,
            words("plan_sheet.bar_end", figure=figure, unit=sign) if share == 4 else figure,
            _TEXT_PT * large, ha="center" if share else "left",
        )  # fmt: skip
    page.text(
        left, foot,
        words("plan_sheet.true_scale", scale=scale_text(job.division.scale, job.measures.system),
              paper=page.paper.name),
        _TEXT_PT * large, room_mm=right - left, color=letter.MUTED,
    )  # fmt: skip


def _draw_north(page: Page, job: Job, tile: Tile, room: Extent) -> None:
    """Draw the arrow to grid north, and say where true north lies from it."""
    left, foot, right, top = room
    large = page.paper.enlarged
    x, wide = left + 5.0 * large, 2.6 * large
    tip = top - 3.4 * large
    for side, colour in ((-1, letter.INK), (1, "white")):
        corners = [(x, tip), (x, foot + 2.2 * large), (x + side * wide, foot)]
        page.axes.fill(
            *np.array(corners).T, facecolor=colour, edgecolor=letter.INK, linewidth=0.7, zorder=3
        )
    page.text(x, tip + 0.6 * large, words("plan_sheet.north"), 9 * large, ha="center",
              weight="bold")  # fmt: skip
    text = convergence_text(grid_north_degrees(job.plan.holding.crs, tile.extent_m))
    size = _TEXT_PT * large
    beside = x + wide + 2.5 * large
    lines = wrapped(text, size, right - beside)
    pitch = size * letter.LINE_SPACING * MM_PER_POINT
    y = (foot + top) / 2 + pitch * (len(lines) - 1) / 2
    for i, line in enumerate(lines):
        page.text(beside, y - i * pitch, line, size, room_mm=right - beside, va="center")


def convergence_text(degrees: float) -> str:
    """Return the sentence on grid north: degrees and minutes, and on which side of true north."""
    minutes = round(abs(degrees) * 60)
    side = "none" if not minutes else "east" if degrees > 0 else "west"
    return words(
        f"plan_sheet.grid_north.{side}", whole=minutes // 60, minutes=f"{minutes % 60:02d}"
    )


def _draw_legend(page: Page, entries: Sequence[KeyEntry], room: Extent) -> None:
    """Draw the legend from the top, smaller and closer until it fits."""
    left, foot, right, top = room
    large = page.paper.enlarged
    page.text(left, top - 0.5, words("plan_sheet.legend.title"), _HEADING_PT * large,
              weight="bold", va="top")  # fmt: skip
    top -= 4.2 * large
    size = _LEGEND_PT * large
    while True:
        legend = page.axes.legend(
            handles=[entry.handle for entry in entries],
            labels=[one_line(entry.label) for entry in entries],
            loc="upper left",
            bbox_to_anchor=(left, top),
            bbox_transform=page.axes.transData,
            prop=letter.font(size),
            frameon=False,
            borderaxespad=0,
            borderpad=0,
            handlelength=2.4,
            labelspacing=0.62,
        )
        for text in legend.get_texts():
            text.set_parse_math(False)
            text.set_color(letter.INK)
        box = legend.get_window_extent().transformed(page.axes.transData.inverted())
        if (box.y0 >= foot and box.x1 <= right) or size <= _LEAST_LEGEND_PT:
            break
        legend.remove()
        size -= 0.3
