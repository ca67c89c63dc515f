"""The band under a long section: which pipe, and of what size, lies where."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import pandas as pd
from matplotlib.axes import Axes

from dewpond.base.surface import FloatArray
from dewpond.base.words import words
from dewpond.outputs.drawing import lettering as letter

HEIGHT_IN = 0.62
_NAMES_FROM = 0.68
_SIZE_PT = 6.0


def pipe_texts(pipes: pd.DataFrame, names: Sequence[str]) -> list[str]:
    """Return size, material and series of each pipe, as they are asked for in the trade.

    Parameters
    ----------
    pipes : DataFrame
        `Sizes.pipes`.
    names : sequence of str
    """
    texts = []
    for name, row in pipes.reindex(list(names)).iterrows():
        size = row["outside_diameter_mm"]
        series = f" SDR {row['sdr']:g}" if pd.notna(row["sdr"]) else ""
        texts.append(
            f"{size:g} mm {letter.plain(str(row['material']), 12)}{series}"
            if pd.notna(size) and name
            else words("maps.section.none_will_do")
        )
    return texts


def draw_band(
    axes: Axes,
    at_m: FloatArray,
    names: Sequence[str],
    texts: Sequence[str],
    metres_per_point: float,
) -> None:
    """Draw the band: names of the pipes above, their sizes below, one entry for each like run.

    Parameters
    ----------
    axes : Axes
        As wide as the section, its height running from 0 to 1.
    at_m : array of float, shape (pipes + 1,)
        Ends of the pipes.
    names, texts : sequence of str
        Name and size of each pipe.
    metres_per_point : float
    """
    for spine in axes.spines.values():
        spine.set(color=letter.MUTED, linewidth=0.7)
    axes.set_ylim(0, 1)
    axes.set_yticks([])
    axes.axhline(_NAMES_FROM, color=letter.FAINT, linewidth=0.5)
    for x in at_m[1:-1]:
        axes.plot([x, x], [_NAMES_FROM, 1], color=letter.MUTED, linewidth=0.5)
    for name, start, end in zip(names, at_m, at_m[1:], strict=False):
        row_pt = (1 - _NAMES_FROM) * HEIGHT_IN * letter.POINTS_PER_INCH
        _write(
            axes, (start, end), (1 + _NAMES_FROM) / 2, (name, name.rsplit(" ", 1)[-1]),
            metres_per_point, row_pt, "italic",
        )  # fmt: skip
    height_pt = _NAMES_FROM * HEIGHT_IN * letter.POINTS_PER_INCH
    for text, run in itertools.groupby(range(len(texts)), key=lambda i: texts[i]):
        members = list(run)
        start, end = float(at_m[members[0]]), float(at_m[members[-1] + 1])
        if members[-1] + 1 < len(texts):
            axes.plot([end, end], [0, _NAMES_FROM], color=letter.MUTED, linewidth=0.5)
        short = " ".join(text.split()[:2])
        tries = (text, text.replace(" SDR", "\nSDR").replace(" mm ", " mm\n"), short)
        _write(axes, (start, end), _NAMES_FROM / 2, tries, metres_per_point, height_pt, "normal")


def _write(
    axes: Axes,
    between: tuple[float, float],
    middle: float,
    tries: Sequence[str],
    metres_per_point: float,
    height_pt: float,
    style: str,
) -> None:
    """Write the first text that fits between two places, then the last upright, else none."""
    room_pt = (between[1] - between[0]) / metres_per_point - 3.0
    for text, upright in [*((text, False) for text in tries), (tries[-1], True)]:
        wide, tall = letter.text_size_pt(text, _SIZE_PT)
        wide, tall = (tall, wide) if upright else (wide, tall)
        if wide <= room_pt and tall <= height_pt:
            axes.text(
                sum(between) / 2, middle, text, ha="center", va="center",
                rotation=90 if upright else 0, linespacing=1.1, color=letter.PIPE,
                fontproperties=letter.font(_SIZE_PT, style=style), parse_math=False,
            )  # fmt: skip
            return
