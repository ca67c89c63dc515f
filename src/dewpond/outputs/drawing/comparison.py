"""A comparison as one picture: what each setting costs against how far its stock walk."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import FuncFormatter, MaxNLocator

from dewpond.base.measures import Measures, money
from dewpond.base.model import Comparison, Outcome
from dewpond.base.surface import FloatArray
from dewpond.base.words import words
from dewpond.outputs.drawing import lettering as letter
from dewpond.outputs.drawing.scales import label_in_unit

_WIDTH_IN, _PLOT_IN = 11.0, 6.2
_LIST_IN, _ROW_IN, _TITLE_IN, _FOOT_IN = 4.1, 0.40, 0.75, 0.65
_DISC_PT, _DOT_PT = 15.0, 6.0
_SHORT = "#b45309"
"""Dark enough to read as grey; told from the other by its shape first."""
_APART_PT = 17.0

_Numbered = tuple[int, Outcome]


def comparison_chart(comparison: Comparison) -> Figure:
    """Draw cost against walking distance, every setting numbered and listed beside the plot.

    A disc stands at the longest walk, a small ring at the mean, a line between; a square instead
    of a disc where something falls short. Shapes and numbers carry the meaning, colour only
    helps.

    Parameters
    ----------
    comparison : Comparison

    Returns
    -------
    Figure
    """
    numbered = list(enumerate(comparison.outcomes, start=1))
    height = max(_PLOT_IN, _TITLE_IN + _FOOT_IN + _ROW_IN * (len(numbered) + 1))
    figure = letter.new_figure(_WIDTH_IN, height)
    plot_width = _WIDTH_IN - _LIST_IN - 0.75
    axes = figure.add_axes(
        (0.75 / _WIDTH_IN, (_FOOT_IN + 0.1) / height, (plot_width - 0.3) / _WIDTH_IN,
         (height - _TITLE_IN - _FOOT_IN - 0.1) / height)
    )  # fmt: skip
    _write(
        figure,
        0.3,
        height - 0.2,
        words("maps.title.compare", holding=letter.plain(comparison.holding, 45)),
        14,
        bold=True,
    )
    _write(figure, 0.3, height - 0.48, words("maps.compare.subtitle"), 8.5)
    shown = [(number, outcome) for number, outcome in numbered if _drawable(outcome)]
    measures = Measures(comparison.units)
    _dress(axes, comparison.currency, [outcome for _, outcome in shown], measures)
    _draw(axes, shown)
    _list(figure, numbered, comparison.currency, height, measures)
    _key(figure)
    return figure


def _drawable(outcome: Outcome) -> bool:
    return outcome.planned and all(
        math.isfinite(outcome.totals.get(key, math.nan)) for key in ("cost", "worst_walk_m")
    )


def _mean(outcome: Outcome) -> float:
    return outcome.totals.get("mean_walk_m", math.nan)


def _dress(axes: Axes, currency: str, outcomes: Sequence[Outcome], measures: Measures) -> None:
    """Set axes from nothing to a little beyond the last point, with a quiet grid."""
    costs = [outcome.totals["cost"] for outcome in outcomes] or [1.0]
    walks = [outcome.totals["worst_walk_m"] for outcome in outcomes] or [1.0]
    spread = max(max(costs) - min(costs), 0.1 * max(costs), 1.0)
    axes.set_xlim(0, max(*walks, 1.0) * 1.1)
    axes.set_ylim(max(min(costs) - 0.25 * spread, 0.0), max(costs) + 0.25 * spread)
    axes.set_facecolor("white")
    axes.grid(color=letter.FAINT, linewidth=0.5)
    axes.set_axisbelow(True)
    label_in_unit(axes.xaxis, 1 / measures.value("length", 1.0))
    axes.yaxis.set_major_locator(MaxNLocator(8))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:,.0f}"))
    axes.tick_params(length=3, width=0.6, color=letter.MUTED, labelcolor=letter.INK)
    for text in (*axes.get_xticklabels(), *axes.get_yticklabels()):
        text.set_fontproperties(letter.font(7.5))
    for side, spine in axes.spines.items():
        spine.set(color=letter.MUTED, linewidth=0.7, visible=side in {"left", "bottom"})
    walk = words("maps.compare.walk", unit=measures.sign("length"))
    cost = words("maps.compare.cost", currency=letter.plain(currency, 10))
    axes.set_xlabel(walk, fontproperties=letter.font(8.5), parse_math=False)
    axes.set_ylabel(cost, fontproperties=letter.font(8.5), parse_math=False)


def _draw(axes: Axes, shown: Sequence[_Numbered]) -> None:
    """Draw every setting; a disc that would cover another is moved off its point on a leader."""
    points = np.array(
        [(outcome.totals["worst_walk_m"], outcome.totals["cost"]) for _, outcome in shown]
    ).reshape(-1, 2)
    places = _spread(axes, points)
    for (number, outcome), point, place in zip(shown, points, places, strict=True):
        walk, cost = point
        colour = letter.PIPE if outcome.met else _SHORT
        mean = _mean(outcome)
        if math.isfinite(mean):
            axes.add_line(Line2D([mean, walk], [cost, cost], color=colour, linewidth=1.1))
            axes.add_line(_ring(mean, cost, colour))
        axes.add_line(
            Line2D([walk, place[0]], [cost, place[1]], color=colour, linewidth=0.7, zorder=3)
        )
        axes.add_line(Line2D([walk], [cost], marker="o", markersize=3, color=colour, zorder=3))
        axes.add_line(_disc(*place, met=outcome.met))
        axes.text(
            place[0], place[1], str(number), ha="center", va="center_baseline", zorder=6,
            fontproperties=letter.font(7.5, "bold"), color="white" if outcome.met else colour,
        )  # fmt: skip


def _disc(x: float, y: float, *, met: bool) -> Line2D:
    colour = letter.PIPE if met else _SHORT
    return Line2D(
        [x], [y], marker="o" if met else "s", markersize=_DISC_PT if met else _DISC_PT - 1,
        markerfacecolor=colour if met else "white", markeredgecolor=colour, markeredgewidth=1.4,
        linestyle="none", zorder=5,
    )  # fmt: skip


def _ring(x: float, y: float, colour: str) -> Line2D:
    return Line2D(
        [x], [y], marker="o", markersize=_DOT_PT, markerfacecolor="white",
        markeredgecolor=colour, markeredgewidth=1.2, linestyle="none", zorder=4,
    )  # fmt: skip


def _spread(axes: Axes, points: FloatArray) -> FloatArray:
    """Return a place for each disc, on its point or as near as no other disc is covered."""
    if not len(points):
        return points
    pixels_per_point = axes.figure.dpi / letter.POINTS_PER_INCH
    wanted = axes.transData.transform(points) / pixels_per_point
    # Along the line to the mean a disc would hide it, so places to the right come first.
    angle = np.radians([0, 45, -45, 30, -30, 60, -60, 90, -90])
    steps = [np.zeros((1, 2))] + [
        ring * _APART_PT * np.column_stack([np.cos(angle), np.sin(angle)]) for ring in range(1, 8)
    ]
    offsets = np.vstack(steps)
    taken: list[FloatArray] = []
    for spot in wanted:
        tried = spot + offsets
        free = [place for place in tried if _clear(place, taken)]
        taken.append(free[0] if free else spot)
    return np.asarray(axes.transData.inverted().transform(np.array(taken) * pixels_per_point))


def _clear(place: FloatArray, taken: Sequence[FloatArray]) -> bool:
    if not taken:
        return True
    tree = shapely.STRtree(shapely.points(np.array(taken)))
    return not len(tree.query(shapely.Point(place), predicate="dwithin", distance=_DISC_PT + 1))


def _list(
    figure: Figure,
    numbered: Sequence[_Numbered],
    currency: str,
    height: float,
    measures: Measures,
) -> None:
    """List every setting with its number, cost and walks, and why one was not planned."""
    left, top = _WIDTH_IN - _LIST_IN, height - _TITLE_IN - 0.08
    room_pt = (_LIST_IN - 0.3 - 0.3) * letter.POINTS_PER_INCH
    for row, (number, outcome) in enumerate(numbered):
        y = top - row * _ROW_IN
        _write(figure, left + 0.2, y, str(number), 8.5, bold=True, align="right")
        name, size = letter.fit(letter.plain(outcome.name, 80), 8.5, room_pt, "bold")
        _write(figure, left + 0.3, y, name, size, bold=True)
        text, size = letter.fit(letter.plain(_line(outcome, currency, measures), 160), 7, room_pt)
        _write(figure, left + 0.3, y - 0.165, text, size)


def _line(outcome: Outcome, currency: str, measures: Measures) -> str:
    if not outcome.planned:
        return words("maps.compare.not_planned", failure=outcome.failure.splitlines()[0])
    totals = outcome.totals
    parts = [
        money(totals["cost"], currency),
        words("maps.totals.outlets", count=int(totals["outlets"])),
    ]
    if _drawable(outcome):
        longest = measures.text("length", totals["worst_walk_m"])
        mean = measures.text("length", _mean(outcome))
        parts.append(words("maps.compare.walks", longest=longest, mean=mean))
    short = len(outcome.shortfalls)
    if short:
        parts.append(words("maps.compare.not_met", count=short))
    return letter.SEPARATOR.join(parts)


def _key(figure: Figure) -> None:
    entries = [
        (_disc(0, 0, met=True), words("maps.compare.met")),
        (_disc(0, 0, met=False), words("maps.compare.short")),
        (_ring(0, 0, letter.PIPE), words("maps.compare.mean")),
    ]
    for handle, _ in entries:
        handle.set_markersize(handle.get_markersize() * 0.6)
    figure.legend(
        handles=[handle for handle, _ in entries], labels=[label for _, label in entries],
        loc="lower left", bbox_to_anchor=(0.3 / _WIDTH_IN, 0.03), ncols=3, frameon=False,
        prop=letter.font(7.2), borderpad=0, borderaxespad=0, handlelength=1.2,
    )  # fmt: skip


def _write(
    figure: Figure, x_in: float, y_in: float, text: str, size: float, *, bold: bool = False,
    align: str = "left",
) -> None:  # fmt: skip
    width, height = figure.get_size_inches()
    figure.text(
        x_in / width, y_in / height, text, ha=align, va="top", parse_math=False,
        color=letter.INK if bold else letter.MUTED,
        fontproperties=letter.font(size, "bold" if bold else "normal"),
    )  # fmt: skip
