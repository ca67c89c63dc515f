"""Every piece of lettering on a drawing as it lies on paper, and what is wrong with it."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import shapely
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text
from shapely import affinity

_SLIGHT_PX2 = 2.0
"""Boxes that touch over so little do not touch in ink."""

Piece = tuple[str, shapely.Polygon]


def pieces_of(figure: Figure) -> dict[Axes | None, list[Piece]]:
    """Return text and box [pixels] of all lettering, by the axes that it stands in."""
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    renderer = canvas.get_renderer()
    found: dict[Axes | None, list[Piece]] = {}
    unseen = _ticks_beyond(figure)
    for text in figure.findobj(Text):
        if text.get_text().strip() and text.get_visible() and text not in unseen:
            found.setdefault(text.axes, []).append((text.get_text(), _box(text, renderer)))
    return found


def overlapping(pieces: Sequence[Piece]) -> list[tuple[str, str]]:
    """Return the pairs of which one lies on the other."""
    return [
        (one, other)
        for (one, a), (other, b) in itertools.combinations(pieces, 2)
        if a.intersection(b).area > _SLIGHT_PX2
    ]


def off(pieces: Sequence[Piece], frame: shapely.Polygon) -> list[str]:
    """Return the lettering that sticks out of a frame."""
    return [text for text, box in pieces if not frame.covers(box)]


def frame_of(axes: Axes) -> shapely.Polygon:
    extent = axes.get_window_extent()
    return shapely.box(extent.x0, extent.y0, extent.x1, extent.y1)


def page_of(figure: Figure) -> shapely.Polygon:
    return shapely.box(0, 0, figure.bbox.x1, figure.bbox.y1)


def unnamed(pieces: Sequence[Piece], names: Sequence[str]) -> list[str]:
    """Return the names that no piece of lettering starts with."""
    shown = [text.replace("\n", " ") for text, _ in pieces]
    return [name for name in names if not any(f"{text} ".startswith(f"{name} ") for text in shown)]


def _ticks_beyond(figure: Figure) -> list[Text]:
    """Return figures of ticks beyond their axis, or of axes put off: there, but never drawn."""
    found = []
    for axes in figure.axes:
        for axis, which in ((axes.xaxis, 0), (axes.yaxis, 1)):
            low, high = sorted(axis.get_view_interval())
            texts = axis.get_ticklabels()
            seen = axes.axison and axes.get_visible()
            found += [t for t in texts if not (seen and low <= t.get_position()[which] <= high)]
    return found


def _box(text: Text, renderer: object) -> shapely.Polygon:
    """Return the slanting box of slanting lettering, not the upright one round it."""
    angle = text.get_rotation()
    text.set_rotation(0)
    extent = text.get_window_extent(renderer)
    text.set_rotation(angle)
    anchor = text.get_transform().transform(text.get_position())
    upright = shapely.box(extent.x0, extent.y0, extent.x1, extent.y1)
    return affinity.rotate(upright, angle, origin=tuple(anchor))
