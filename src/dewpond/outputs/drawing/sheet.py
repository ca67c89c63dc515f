"""The sheet a map is drawn on: page and scale, title, key, scale bar, north arrow, credits.

Map and furniture never share ground: the map keeps its frame to itself, the key stands beside
or beneath it, whichever gives the larger scale on A4.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Polygon, Rectangle
from matplotlib.ticker import FixedLocator, FuncFormatter

from dewpond.base.measures import Measures
from dewpond.base.words import words
from dewpond.outputs.drawing import lettering as letter
from dewpond.outputs.drawing.scales import map_scale, round_down, round_up

_A4_IN = (11.69, 8.27)
_EDGE_IN, _TICKS_IN, _TITLE_IN, _FOOT_IN = 0.35, 0.22, 0.72, 0.5
_KEY_WIDTH_IN, _KEY_ROW_IN, _BAR_HEIGHT_IN, _GAP_IN = 2.45, 0.235, 0.95, 0.25
_DROP_IN = 0.12
_KEY_PT = 7.2
_METRES_PER_INCH = 0.0254
_METRIC = Measures("metric")


@dataclass(frozen=True)
class KeyEntry:
    """One line of the key: what is drawn and what it stands for."""

    handle: Artist
    label: str


@dataclass(frozen=True)
class Sheet:
    """A map sheet under way: the figure, the axes of the map, its scale and its extent.

    Attributes
    ----------
    figure : Figure
    axes : Axes
        In metres of the working CRS, true to scale.
    scale : float
        Denominator, when printed at actual size.
    extent_m : tuple of float
        West, south, east, north of the frame.
    beside : bool
        Whether the key stands beside the map, not beneath it.
    """

    figure: Figure
    axes: Axes
    scale: float
    extent_m: tuple[float, float, float, float]
    beside: bool

    @property
    def metres_per_point(self) -> float:
        """Metres on the ground for one point (1/72 inch) on the sheet."""
        return self.scale * _METRES_PER_INCH / letter.POINTS_PER_INCH


@dataclass(frozen=True)
class _Page:
    scale: float
    map_in: tuple[float, float]
    beside: bool


def new_sheet(bounds_m: tuple[float, float, float, float], entries: int) -> Sheet:
    """Return an empty sheet for a holding of these bounds; `finish_sheet` completes it.

    Parameters
    ----------
    bounds_m : tuple of float
        West, south, east, north of all that must be on the map, with its margin.
    entries : int
        Most lines that the key may take.
    """
    page = _choose_page(bounds_m, entries)
    extent = _grow(bounds_m, page)
    figure = letter.new_figure(*page.map_in)
    axes = figure.add_axes((0, 0, 1, 1))
    sheet = Sheet(figure, axes, page.scale, extent, page.beside)
    _lay_out(sheet, page.map_in, entries)
    _dress(axes, extent, page.scale)
    return sheet


def finish_sheet(
    sheet: Sheet,
    entries: Sequence[KeyEntry],
    title: str,
    subtitle: str,
    footer: str,
    measures: Measures = _METRIC,
) -> None:
    """Trim the page to what its key needs, then write title, key, scale bar and footer."""
    figure, axes = sheet.figure, sheet.axes
    width, height = figure.get_size_inches()
    box = axes.get_position()
    _lay_out(sheet, (box.width * width, box.height * height), len(entries))
    _write_texts(figure, title, subtitle, footer)
    width, height = figure.get_size_inches()
    box = axes.get_position()
    if sheet.beside:
        left_in, top_in = box.x1 * width + _GAP_IN, box.y1 * height
        bar_in = left_in, box.y0 * height
    else:
        left_in, top_in = box.x0 * width, box.y0 * height - _TICKS_IN - _DROP_IN
        bar_in = box.x1 * width - _KEY_WIDTH_IN, top_in - _BAR_HEIGHT_IN
    _draw_key(figure, entries, (left_in / width, top_in / height), 1 if sheet.beside else 2)
    _draw_bar(sheet, *bar_in, measures)


def _lay_out(sheet: Sheet, map_in: tuple[float, float], entries: int) -> None:
    """Size the page round a map of a given size [inches] and put the map in its place."""
    block = 0.0 if sheet.beside else _key_block_in(entries)
    width = _EDGE_IN * 2 + _TICKS_IN + map_in[0]
    width += _GAP_IN + _KEY_WIDTH_IN if sheet.beside else 0.0
    height = _TITLE_IN + map_in[1] + _TICKS_IN + block + _FOOT_IN
    sheet.figure.set_size_inches(width, height)
    left, bottom = _EDGE_IN + _TICKS_IN, _FOOT_IN + block + _TICKS_IN
    sheet.axes.set_position((left / width, bottom / height, map_in[0] / width, map_in[1] / height))


def _key_block_in(entries: int) -> float:
    """Return the height of a key beneath the map, in two columns with the scale bar beside."""
    return max(math.ceil(entries / 2) * _KEY_ROW_IN, _BAR_HEIGHT_IN) + _DROP_IN


def _draw_key(
    figure: Figure, entries: Sequence[KeyEntry], top_left: tuple[float, float], columns: int
) -> None:
    legend = figure.legend(
        handles=[entry.handle for entry in entries],
        labels=[entry.label for entry in entries],
        loc="upper left",
        bbox_to_anchor=top_left,
        ncols=columns,
        prop=letter.font(_KEY_PT),
        frameon=False,
        borderaxespad=0,
        borderpad=0,
        handlelength=2.2,
        labelspacing=0.75,
        columnspacing=1.6,
    )
    room_pt = _KEY_WIDTH_IN * letter.POINTS_PER_INCH * (1.0 if columns == 1 else 1.25)
    for text in legend.get_texts():
        # Beside its sample: handle and gap are three times the size of the lettering wide.
        shown, size_pt = letter.fit(text.get_text(), _KEY_PT, room_pt - 3 * _KEY_PT)
        text.set(text=shown, fontproperties=letter.font(size_pt), parse_math=False)
        text.set_color(letter.INK)


def _choose_page(bounds_m: tuple[float, float, float, float], entries: int) -> _Page:
    """Return the page on which the holding is drawn largest, trimmed to its shape."""
    across, up = bounds_m[2] - bounds_m[0], bounds_m[3] - bounds_m[1]
    long, short = _A4_IN
    pages = []
    for width, height, beside in ((long, short, True), (short, long, False), (long, short, False)):
        room_x = width - 2 * _EDGE_IN - _TICKS_IN - (_GAP_IN + _KEY_WIDTH_IN) * beside
        room_y = height - _TITLE_IN - _FOOT_IN - _TICKS_IN
        room_y -= 0 if beside else _key_block_in(entries)
        scale = max(map_scale(across, room_x), map_scale(up, room_y))
        per_inch = scale * _METRES_PER_INCH
        # Never so narrow that title and key do not fit; the map then shows more around it.
        least_x = 4.0 if beside else 6.8
        least_y = entries * _KEY_ROW_IN + _BAR_HEIGHT_IN + 0.3 if beside else 2.0
        size = (max(across / per_inch, least_x), max(up / per_inch, min(least_y, room_y)))
        pages.append(_Page(scale, (min(size[0], room_x), min(size[1], room_y)), beside))
    return min(pages, key=lambda page: page.scale)


def _grow(
    bounds_m: tuple[float, float, float, float], page: _Page
) -> tuple[float, float, float, float]:
    """Return the extent [m] of the frame: the bounds, widened evenly to fill it."""
    half_x = page.map_in[0] * page.scale * _METRES_PER_INCH / 2
    half_y = page.map_in[1] * page.scale * _METRES_PER_INCH / 2
    x, y = (bounds_m[0] + bounds_m[2]) / 2, (bounds_m[1] + bounds_m[3]) / 2
    return x - half_x, y - half_y, x + half_x, y + half_y


def _dress(axes: Axes, extent: tuple[float, float, float, float], scale: float) -> None:
    """Set the extent and a quiet frame with grid coordinates along two sides."""
    west, south, east, north = extent
    axes.set_xlim(west, east)
    axes.set_ylim(south, north)
    axes.set_facecolor("white")
    per_inch = scale * _METRES_PER_INCH
    step = round_up(per_inch * 1.5)
    for axis, low, high in ((axes.xaxis, west, east), (axes.yaxis, south, north)):
        # None so near a corner that its figure would stick out of the frame.
        first, last = low + 0.3 * per_inch, high - 0.3 * per_inch
        ticks = step * np.arange(math.ceil(first / step), math.floor(last / step) + 1)
        axis.set_major_locator(FixedLocator(list(ticks)))
        axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:.0f}"))
    axes.tick_params(length=2.5, width=0.5, color=letter.MUTED, labelcolor=letter.MUTED, pad=1.5)
    for text in (*axes.get_xticklabels(), *axes.get_yticklabels()):
        text.set_fontproperties(letter.font(5.5))
    for text in axes.get_yticklabels():
        text.set(rotation=90, verticalalignment="center")
    for spine in axes.spines.values():
        spine.set(color=letter.MUTED, linewidth=0.7)


def _write_texts(figure: Figure, title: str, subtitle: str, footer: str) -> None:
    width, height = figure.get_size_inches()
    room_pt = (width - 2 * _EDGE_IN) * letter.POINTS_PER_INCH
    text, size = letter.fit(letter.plain(title), 14, room_pt, "bold")
    left = _EDGE_IN / width
    figure.text(
        left, 1 - 0.22 / height, text, va="top", color=letter.INK,
        fontproperties=letter.font(size, "bold"), parse_math=False,
    )  # fmt: skip
    text, size = letter.fit(letter.plain(subtitle, 200), 8.5, room_pt)
    figure.text(
        left, 1 - 0.48 / height, text, va="top", color=letter.MUTED,
        fontproperties=letter.font(size), parse_math=False,
    )  # fmt: skip
    lines = letter.wrap(letter.plain(footer, 600), 6, room_pt).split("\n")[:4]
    figure.text(
        left, 0.1 / height, "\n".join(lines), va="bottom", color=letter.MUTED,
        fontproperties=letter.font(6), linespacing=1.25, parse_math=False,
    )  # fmt: skip


def _draw_bar(sheet: Sheet, x_in: float, y_in: float, measures: Measures) -> None:
    """Draw the scale bar with its scale in words and the arrow to grid north."""
    figure = sheet.figure
    width, height = figure.get_size_inches()
    axes = figure.add_axes(
        (x_in / width, y_in / height, _KEY_WIDTH_IN / width, _BAR_HEIGHT_IN / height),
        label="scale bar",
    )
    axes.set_xlim(0, _KEY_WIDTH_IN)
    axes.set_ylim(0, _BAR_HEIGHT_IN)
    axes.set_axis_off()
    per_inch = measures.value("length", sheet.scale * _METRES_PER_INCH)
    whole = round_down(1.7 * per_inch)
    part = whole / 4 / per_inch
    for i in range(4):
        axes.add_patch(
            Rectangle(
                (i * part + 0.05, 0.28), part, 0.07, linewidth=0.6, edgecolor=letter.INK,
                facecolor=letter.INK if i % 2 == 0 else "white",
            )
        )  # fmt: skip
    scale = words("maps.bar.scale", scale=f"{sheet.scale:,.0f}")
    for share in (0, 2, 4):
        label = f"{whole * share / 4:,g}"
        label += f" {measures.sign('length')}" if share == 4 else ""
        axes.text(
            0.05 + share * part, 0.39, label, ha="center" if share else "left", va="bottom",
            fontproperties=letter.font(6.5), color=letter.INK,
        )  # fmt: skip
    axes.text(
        0.05, 0.16, scale, va="center", fontproperties=letter.font(6.5), color=letter.MUTED,
    )  # fmt: skip
    _draw_north(axes, _KEY_WIDTH_IN - 0.25, 0.28)


def _draw_north(axes: Axes, x: float, y: float) -> None:
    for side, colour in ((-1, letter.INK), (1, "white")):
        axes.add_patch(
            Polygon(
                [(x, y + 0.46), (x, y + 0.1), (x + side * 0.11, y)], closed=True,
                facecolor=colour, edgecolor=letter.INK, linewidth=0.7,
            )
        )  # fmt: skip
    axes.text(
        x, y + 0.49, "N", ha="center", va="bottom", fontproperties=letter.font(8, "bold"),
        color=letter.INK,
    )  # fmt: skip
    axes.text(
        x + 0.2, 0.16, words("maps.bar.north"), ha="right", va="center",
        fontproperties=letter.font(6.5), color=letter.MUTED,
    )  # fmt: skip
