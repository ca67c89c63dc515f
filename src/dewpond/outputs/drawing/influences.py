"""What matters most for a holding: the least head to spare as one figure after another changes."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, MaxNLocator

from dewpond.base.measures import Measures
from dewpond.base.model import Confidence, Plan
from dewpond.base.words import words
from dewpond.outputs.drawing import lettering as letter

_WIDTH_IN, _ROW_IN = 9.0, 0.62
_TITLES_IN, _FOOT_IN, _NAMES_IN, _RIGHT_IN = 0.95, 0.85, 2.05, 0.35
_BAR = 0.42
_LOW, _HIGH, _SHORT = "#b9c6d3", "#4f7396", "#f6dfe3"
_ROOM = 0.36
"""Room for the words at the ends of bars, as a share of the span of all of them."""


def influences_chart(plan: Plan, found: Confidence) -> Figure:
    """Draw one bar for each figure that is not sure, the one that matters most on top.

    Each bar runs from the least head to spare with the figure low to that with it high; the pale
    end is the low one, and both are lettered. Left of the line at nothing an outlet falls short.

    Parameters
    ----------
    plan : Plan
    found : Confidence
        With at least one row of influences.
    """
    measures = Measures(plan.project.documents.units)
    table = found.influences
    height = _TITLES_IN + _FOOT_IN + _ROW_IN * len(table)
    figure = letter.new_figure(_WIDTH_IN, height)
    axes = figure.add_axes(
        (_NAMES_IN / _WIDTH_IN, _FOOT_IN / height,
         1 - (_NAMES_IN + _RIGHT_IN) / _WIDTH_IN, _ROW_IN * len(table) / height)
    )  # fmt: skip
    _dress(axes, table, measures)
    for row, item in enumerate(table.to_dict("records")):
        _draw_bar(axes, row, item, measures)
    _write(figure, plan, found, height)
    return figure


def _dress(axes: Axes, table: pd.DataFrame, measures: Measures) -> None:
    """Set the axes: room for words on both sides, the base, and where an outlet falls short."""
    base = measures.value("head", float(table["base"].iloc[0]))
    values = [measures.value("head", v) for v in table[["figure_low", "figure_high"]].to_numpy()]
    low, high = min(base, float(np.min(values))), max(base, float(np.max(values)))
    room = _ROOM * max(high - low, 0.1)
    axes.set_xlim(low - room, high + room)
    axes.set_ylim(len(table) - 0.45, -0.55)
    if low - room < 0:
        axes.axvspan(low - room, min(0.0, high + room), color=_SHORT, zorder=0)
        axes.text(
            min(0.0, high + room) - 0.01 * (high - low + 2 * room), len(table) - 0.5,
            words("confidence.picture.short"), ha="right", va="bottom", color=letter.MISSED,
            fontproperties=letter.font(6.5, style="italic"), parse_math=False, zorder=1,
        )  # fmt: skip
    axes.axvline(base, color=letter.INK, linewidth=0.9, zorder=4)
    axes.text(
        base, -0.58, words("confidence.picture.base", head=measures.text(
            "head", float(table["base"].iloc[0]))).replace("-", "\N{MINUS SIGN}"),
        ha="center", va="bottom", color=letter.INK, fontproperties=letter.font(7.0),
        parse_math=False,
    )  # fmt: skip
    axes.xaxis.set_major_locator(MaxNLocator(9))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: letter.minus(f"{value:g}")))
    axes.set_yticks([])
    axes.tick_params(length=3, width=0.6, color=letter.MUTED, labelcolor=letter.INK)
    for text in axes.get_xticklabels():
        text.set_fontproperties(letter.font(7.0))
    axes.grid(axis="x", color=letter.FAINT, linewidth=0.5)
    axes.set_axisbelow(True)
    for side, spine in axes.spines.items():
        spine.set(color=letter.MUTED, linewidth=0.7, visible=side == "bottom")
    axes.set_xlabel(
        words("confidence.picture.axis", unit=measures.sign("head")),
        fontproperties=letter.font(8.0),
    )


def _draw_bar(axes: Axes, row: int, item: dict[str, object], measures: Measures) -> None:
    base, low, high = (
        measures.value("head", float(str(item[key])))
        for key in ("base", "figure_low", "figure_high")
    )
    for value, colour in ((low, _LOW), (high, _HIGH)):
        axes.barh(row, value - base, left=base, height=_BAR, color=colour,
                  edgecolor=letter.INK, linewidth=0.5, zorder=3)  # fmt: skip
    to_left = low <= high
    pad = 0.008 * (axes.get_xlim()[1] - axes.get_xlim()[0])
    for value, key, left in ((low, "low", to_left), (high, "high", not to_left)):
        end = min(value, base) if left else max(value, base)
        axes.text(
            end - pad if left else end + pad, row, letter.plain(str(item[key]), 40),
            ha="right" if left else "left", va="center", color=letter.INK,
            fontproperties=letter.font(6.6), path_effects=letter.halo(), parse_math=False,
            zorder=5,
        )  # fmt: skip
    name = words(f"confidence.picture.factor.{str(item['factor']).replace(' ', '_')}")
    axes.annotate(
        letter.wrap(name, 8.0, (_NAMES_IN - 0.5) * letter.POINTS_PER_INCH),
        (0, row), xycoords=("axes fraction", "data"), xytext=(-6, 0),
        textcoords="offset points", ha="right", va="center", color=letter.INK,
        fontproperties=letter.font(8.0), annotation_clip=False, parse_math=False,
    )  # fmt: skip


def _write(figure: Figure, plan: Plan, found: Confidence, height_in: float) -> None:
    title = words("confidence.picture.title", holding=letter.plain(plan.holding.name, 45))
    subtitle = words("confidence.picture.subtitle")
    footer = words("confidence.picture.footer", simulations=found.simulations)
    room_pt = (_WIDTH_IN - 0.7) * letter.POINTS_PER_INCH
    rows = (
        (title, 13.0, "bold", letter.INK, 1 - 0.2 / height_in),
        (subtitle, 8.0, "normal", letter.MUTED, 1 - 0.46 / height_in),
    )
    for text, size, weight, colour, y in rows:
        shown, size_pt = letter.fit(text, size, room_pt, weight)
        figure.text(0.35 / _WIDTH_IN, y, shown, va="top", color=colour, parse_math=False,
                    fontproperties=letter.font(size_pt, weight))  # fmt: skip
    figure.text(
        0.35 / _WIDTH_IN, 0.1 / height_in, letter.wrap(footer, 6.0, room_pt), va="bottom",
        color=letter.MUTED, fontproperties=letter.font(6.0), linespacing=1.25, parse_math=False,
    )  # fmt: skip
