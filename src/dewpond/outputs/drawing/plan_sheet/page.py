"""A page of paper that is drawn on in millimetres from its lower left corner."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from dewpond.outputs.drawing import lettering as letter
from dewpond.outputs.drawing.plan_sheet.paper import MM_PER_INCH, MM_PER_POINT, Extent, Paper


class Page:
    """One page: a figure of the paper's size with axes all over it, in millimetres.

    Attributes
    ----------
    paper : Paper
    figure : Figure
    axes : Axes
    """

    def __init__(self, paper: Paper) -> None:
        self.paper = paper
        self.figure = Figure(
            figsize=(paper.width_mm / MM_PER_INCH, paper.height_mm / MM_PER_INCH),
            facecolor="none",
            edgecolor="none",
        )
        self.figure.set_layout_engine("none")
        FigureCanvasAgg(self.figure)
        self.axes = self.add_axes((0, 0, paper.width_mm, paper.height_mm))
        self.axes.set_xlim(0, paper.width_mm)
        self.axes.set_ylim(0, paper.height_mm)

    def add_axes(self, frame_mm: Extent) -> Axes:
        """Return bare axes over a part of the page."""
        left, foot, right, top = frame_mm
        wide, tall = self.paper.width_mm, self.paper.height_mm
        axes = self.figure.add_axes(
            (left / wide, foot / tall, (right - left) / wide, (top - foot) / tall),
            label=f"axes {len(self.figure.axes)}",
        )
        axes.set_axis_off()
        return axes

    def text(
        self,
        x: float,
        y: float,
        text: str,
        size_pt: float,
        *,
        room_mm: float | None = None,
        weight: str = "normal",
        style: str = "normal",
        **more: Any,
    ) -> None:
        """Write text, smaller and then shorter where it is wider than `room_mm`."""
        if not text:
            return
        if room_mm is not None:
            text, size_pt = letter.fit(text, size_pt, room_mm / MM_PER_POINT, weight)
        self.axes.text(
            x,
            y,
            text,
            fontproperties=letter.font(size_pt, weight, style),
            parse_math=False,
            **{"color": letter.INK, "ha": "left", "va": "baseline", "zorder": 5, **more},
        )

    def lines(self, lines: Sequence[Any], width_pt: float = 0.4, **style: Any) -> None:
        """Draw lines through points given in millimetres."""
        if len(lines):
            self.axes.add_collection(
                LineCollection(
                    [np.asarray(line, dtype=float) for line in lines],
                    linewidths=width_pt,
                    **{"colors": letter.INK, "zorder": 3, **style},
                ),
                autolim=False,
            )

    def box(self, frame_mm: Extent, width_pt: float = 0.6, **style: Any) -> None:
        """Draw an upright box, empty unless a face colour is given."""
        left, foot, right, top = frame_mm
        self.axes.add_patch(
            Rectangle(
                (left, foot),
                right - left,
                top - foot,
                linewidth=width_pt,
                **{"facecolor": "none", "edgecolor": letter.INK, "zorder": 3, **style},
            )
        )


def one_line(name: str, longest: int = 120) -> str:
    """Return a name from the data as it can be drawn among other words.

    No figure may follow such a name directly: after one that is written from right to left it
    would be drawn on its wrong side, and marks that prevent this cost the room between words.
    """
    return letter.plain(name, longest)


def wrapped(text: str, size_pt: float, room_mm: float) -> list[str]:
    """Break text into lines no wider than `room_mm`; a word that is wider is broken itself."""
    room_pt = room_mm / MM_PER_POINT
    words = [piece for word in text.split() for piece in _pieces(word, size_pt, room_pt)]
    return letter.wrap(" ".join(words), size_pt, room_pt).split("\n") if words else []


def _pieces(word: str, size_pt: float, room_pt: float) -> list[str]:
    pieces: list[str] = []
    while len(word) > 1 and letter.text_size_pt(word, size_pt)[0] > room_pt:
        fits = next(
            n
            for n in range(len(word) - 1, 0, -1)
            if n == 1 or letter.text_size_pt(word[:n], size_pt)[0] <= room_pt
        )
        pieces.append(word[:fits])
        word = word[fits:]
    return [*pieces, word]
