"""Pipe on a map by its size or its class, and the small things that stand on it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.markers import MarkerStyle
from matplotlib.path import Path

from dewpond.base.measures import Measures
from dewpond.base.words import words
from dewpond.outputs.drawing import lettering as letter
from dewpond.outputs.drawing.shapes import draw_lines
from dewpond.outputs.drawing.sheet import KeyEntry
from dewpond.outputs.drawing.symbols import Style

Layers = Mapping[str, gpd.GeoDataFrame]

_METRIC = Measures("metric")

_THINNEST_PT, _THICKEST_PT, _ONLY_PT, _UNSIZED_PT = 1.0, 3.2, 1.9, 1.6
_OLD_DASH, _UNSIZED_DASH = (0, (2.2, 1.1)), (0, (0.8, 1.4))
_CLASS_STYLES: tuple[tuple[float, object], ...] = (
    (1.3, (0, (4.5, 1.6))),
    (1.5, "solid"),
    (2.8, "solid"),
    (4.0, "solid"),
)
"""From the weakest class to the strongest, told apart in grey as well."""

_BOW_TIE = Path(
    [(-1, -0.7), (-1, 0.7), (1, -0.7), (1, 0.7), (-1, -0.7)],
    [Path.MOVETO, Path.LINETO, Path.LINETO, Path.LINETO, Path.CLOSEPOLY],
)
"""A valve as drawings of pipework have it; laid along its pipe."""
HALF_FULL: Style = {
    "fillstyle": "bottom", "markerfacecolor": letter.STILL_WATER, "markerfacecoloralt": "white",
}  # fmt: skip
"""A square so filled is a tank, and no source."""
_ON_PIPE: dict[str, Style] = {
    "air_valve": {"marker": "^", "markersize": 6.5, "markerfacecolor": "#d55e00"},
    "washout": {"marker": "v", "markersize": 6.5, "markerfacecolor": "#117755"},
    "drain": {
        "marker": "v", "markersize": 5.5, "markerfacecolor": "white",
        "markeredgecolor": "#117755", "markeredgewidth": 1.2,
    },
    "stop_valve": {
        "marker": _BOW_TIE, "markersize": 7.5, "markerfacecolor": "white",
        "markeredgecolor": letter.INK, "markeredgewidth": 0.8,
    },
    "meter": {
        "marker": "o", "markersize": 6.5, "markerfacecolor": "white",
        "markeredgecolor": letter.INK, "markeredgewidth": 0.8,
    },
    "break_tank": {
        "marker": "s", "markersize": 7.0, "markeredgecolor": letter.INK, "markeredgewidth": 1.1,
        **HALF_FULL,
    },
    "reducing_valve": {
        "marker": _BOW_TIE, "markersize": 9.0, "markerfacecolor": letter.INK,
        "markeredgewidth": 0.8,
    },
}  # fmt: skip
_CLEAR_PT = {"meter": 20.0, "drain": 12.0}
_USUAL_CLEAR_PT = 10.5
"""How far from the ends of its pipe a thing is drawn, so that no node covers it [points]."""
_SHORTEST_PT, _ASIDE_PT = 11.0, 10.0
_CROWDED_M, _SMALLER = 4.3, 0.75
"""Pipes are short on paper from 1:12,000 on [metres a point]: what stands on them is smaller."""


def widths_pt(sizes_mm: Sequence[float]) -> dict[float, float]:
    """Return the width of the line of each size: the larger the pipe, the wider."""
    if len(sizes_mm) == 1:
        return {sizes_mm[0]: _ONLY_PT}
    steps = np.linspace(_THINNEST_PT, _THICKEST_PT, len(sizes_mm))
    return dict(zip(sorted(sizes_mm), steps.tolist(), strict=True))


def draw_pipes(
    axes: Axes, pipes: gpd.GeoDataFrame, measures: Measures = _METRIC
) -> list[KeyEntry]:
    """Draw pipe by size, with a white edge; pipe in the ground already is dashed."""
    old = (pipes["laying"] == "existing").to_numpy(bool)
    size = pipes["outside_diameter_mm"].to_numpy(float)
    entries = []
    for size_mm, width in widths_pt(_present(size)).items():
        said = size_text(size_mm, measures)
        entries += _draw(axes, pipes[(size == size_mm) & ~old], width, "solid",
                         words("maps.key.pipe", size=said))  # fmt: skip
        entries += _draw(axes, pipes[(size == size_mm) & old], width, _OLD_DASH,
                         words("maps.key.pipe_old", size=said))  # fmt: skip
    unsized = np.isnan(size)
    entries += _draw(axes, pipes[unsized & old], _UNSIZED_PT, _OLD_DASH,
                     words("maps.key.pipe_old_unsized"))  # fmt: skip
    return entries + _draw(axes, pipes[unsized & ~old], _UNSIZED_PT, _UNSIZED_DASH,
                           words("maps.key.pipe_unsized"))  # fmt: skip


def draw_pipes_by_class(
    axes: Axes, pipes: gpd.GeoDataFrame, measures: Measures = _METRIC
) -> list[KeyEntry]:
    """Draw pipe by the pressure that its class may carry."""
    classes = pipes["pressure_class_bar"].to_numpy(float)
    entries = []
    for rank, bar in enumerate(_present(classes)):
        width, dash = _CLASS_STYLES[min(rank, len(_CLASS_STYLES) - 1)]
        width += 1.2 * max(rank - len(_CLASS_STYLES) + 1, 0)
        said = f"{bar:g} bar"
        if measures.system != "metric":
            said += f" ({measures.text('pressure', bar)})"
        label = words("maps.key.pipe_class", pressure=said)
        entries += _draw(axes, pipes[classes == bar], width, dash, label)
    return entries + _draw(axes, pipes[np.isnan(classes)], _UNSIZED_PT, _UNSIZED_DASH,
                           words("maps.key.pipe_no_class"))  # fmt: skip


def size_text(size_mm: float, measures: Measures) -> str:
    """Return the size that pipe is sold by, with inches beside it where those are printed."""
    inches = "" if measures.system == "metric" else f" ({measures.text('diameter', size_mm)})"
    return f"{size_mm:g} mm{inches}"


def draw_on_pipe(
    axes: Axes, kind: str, layers: Layers, metres_per_point: float
) -> tuple[list[KeyEntry], list[shapely.Point]]:
    """Draw what stands on the pipe, a little along it where a node would cover it.

    Returns
    -------
    list of KeyEntry
    list of Point
        Where each was drawn.
    """
    points, angles = _places(kind, layers, metres_per_point)
    if not points:
        return [], []
    style: Style = {
        "linestyle": "none", "markeredgecolor": "white", "markeredgewidth": 1.0, **_ON_PIPE[kind],
    }  # fmt: skip
    if metres_per_point >= _CROWDED_M:
        style["markersize"] *= _SMALLER
    for point, angle in zip(points, angles, strict=True):
        marker = style["marker"]
        if isinstance(marker, Path):
            marker = MarkerStyle(marker).rotated(rad=angle)
        axes.add_line(Line2D([point.x], [point.y], **{**style, "marker": marker}, zorder=6))
        if kind == "meter":
            axes.text(
                point.x, point.y, "M", ha="center", va="center_baseline", color=letter.INK,
                fontproperties=letter.font(4.2, "bold"), parse_math=False, zorder=6.1,
            )  # fmt: skip
    label = words("maps.key.meter_letter" if kind == "meter" else f"maps.key.{kind}")
    return [KeyEntry(Line2D([], [], **style), label)], points


def _places(
    kind: str, layers: Layers, metres_per_point: float
) -> tuple[list[shapely.Point], list[float]]:
    """Return where to draw each point of a kind, and which way its pipe runs there."""
    lines = dict(zip(layers["pipe"]["name"], layers["pipe"].geometry, strict=True))
    clear_m = _CLEAR_PT.get(kind, _USUAL_CLEAR_PT) * metres_per_point
    places, angles = [], []
    for pipe, point in zip(layers[kind]["pipe"], layers[kind].geometry, strict=True):
        line = lines[pipe]
        clear = min(clear_m, 0.4 * line.length)
        at = min(max(line.project(point), clear), line.length - clear)
        before, after = (line.interpolate(at + step) for step in (-metres_per_point,
                                                                  metres_per_point))  # fmt: skip
        angle = float(np.arctan2(after.y - before.y, after.x - before.x))
        # On a pipe so short that its own ends would cover it, it stands beside the pipe.
        aside = 0.0 if line.length > 2 * _SHORTEST_PT * metres_per_point else 1.0
        aside *= _ASIDE_PT * metres_per_point * (-1 if kind == "meter" else 1)
        on = line.interpolate(at)
        places.append(shapely.Point(on.x - aside * np.sin(angle), on.y + aside * np.cos(angle)))
        angles.append(angle)
    return places, angles


def _draw(
    axes: Axes, pipes: gpd.GeoDataFrame, width: float, dash: object, label: str
) -> list[KeyEntry]:
    if not len(pipes):
        return []
    draw_lines(
        axes, pipes.geometry, color="white", linewidth=width + 1.7, alpha=0.8, zorder=4,
        capstyle="round",
    )  # fmt: skip
    solid = dash == "solid"
    draw_lines(
        axes, pipes.geometry, color=letter.PIPE, linewidth=width, linestyle=dash, zorder=4.1,
        capstyle="round" if solid else "butt",
    )  # fmt: skip
    handle = Line2D([], [], color=letter.PIPE, linewidth=width, linestyle=dash)  # type: ignore[arg-type]
    return [KeyEntry(handle, label)]


def _present(values: npt.NDArray[np.float64]) -> list[float]:
    return [float(value) for value in np.unique(values[np.isfinite(values)])]
