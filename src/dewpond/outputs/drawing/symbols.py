"""The symbols of a map and the lines of its key, so that the one always matches the other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely
from matplotlib.axes import Axes
from matplotlib.colors import to_rgb
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.patheffects import withStroke

from dewpond.base.measures import Measures
from dewpond.base.model import CommandArea, Plan
from dewpond.base.words import words
from dewpond.outputs.drawing import lettering as letter
from dewpond.outputs.drawing.scales import round_figure
from dewpond.outputs.drawing.shapes import draw_lines, draw_polygons
from dewpond.outputs.drawing.sheet import KeyEntry

Style = dict[str, Any]

_METRIC = Measures("metric")

_FENCE: Style = {"color": letter.INK, "linewidth": 0.8}
_TRACK: Style = {
    "color": "white",
    "linewidth": 1.3,
    "path_effects": [withStroke(linewidth=2.5, foreground=letter.TRACK)],
}
"""Two edges with white between, so that a lane is told from a stream in grey as well."""
_STREAM: Style = {"color": letter.STREAM, "linewidth": 1.2}
_KEEP_OUT: Style = {
    "facecolor": letter.KEEP_OUT,
    "edgecolor": "#8f9c88",
    "hatch": "xx",
    "linewidth": 0.5,
}
"""Crossed, so that it is no band of walking distance in grey print."""
_MISSED: Style = {
    "facecolor": "white",
    "edgecolor": letter.MISSED,
    "hatch": "//////",
    "linewidth": 0.6,
}
_OUTLET: Style = {"marker": "o", "markeredgewidth": 1.0}
_LARGEST_DISC_PT, _SMALLEST_DISC_PT = 10.5, 7.5
_POINTS: dict[str, Style] = {
    "gate": {
        "marker": "s",
        "markersize": 3.6,
        "markerfacecolor": "white",
        "markeredgecolor": letter.INK,
        "markeredgewidth": 0.9,
    },
    "source": {"marker": "s", "markersize": 8.0, "color": letter.INK},
    "other_source": {
        "marker": "s",
        "markersize": 7.0,
        "markerfacecolor": "white",
        "markeredgewidth": 1.4,
        "markeredgecolor": letter.INK,
    },
}


def draw_surroundings(axes: Axes, features: Mapping[str, gpd.GeoDataFrame]) -> list[KeyEntry]:
    """Draw keep-outs, watercourses, tracks and gates; return their lines of the key."""
    entries = []
    if draw_polygons(axes, features["keep_out"].geometry, **_KEEP_OUT, zorder=2):
        entries.append(KeyEntry(Patch(**_KEEP_OUT), words("maps.key.keep_out")))
    for name, style in (("watercourses", _STREAM), ("tracks", _TRACK)):
        if draw_lines(axes, features[name].geometry, **style, zorder=2.2):
            entries.append(KeyEntry(_line(style), words(f"maps.key.{name}")))
    return entries + draw_points(axes, "gate", features["gates"])


def draw_paddocks(axes: Axes, paddocks: gpd.GeoDataFrame) -> list[KeyEntry]:
    """Draw the boundaries of the paddocks."""
    drawn = draw_lines(axes, paddocks.geometry, **_FENCE, zorder=3)
    return [KeyEntry(_line(_FENCE), words("maps.key.paddock"))] if drawn else []


def draw_uncovered(axes: Axes, uncovered: gpd.GeoDataFrame) -> list[KeyEntry]:
    """Hatch the ground that no outlet reaches."""
    ground = [uncovered.geometry.union_all()] if len(uncovered) else []
    drawn = draw_polygons(axes, ground, **_MISSED, zorder=2.8)
    return [KeyEntry(Patch(**_MISSED), words("maps.key.uncovered"))] if drawn else []


def draw_outlets(axes: Axes, outlets: gpd.GeoDataFrame, metres_per_point: float) -> list[KeyEntry]:
    """Draw each outlet as a disc with its number; hollow where water does not come as it must."""
    joined = outlets["static_head_m"].notna().to_numpy(bool)
    served = outlets["served"].to_numpy(bool)
    return draw_discs(
        axes,
        outlets,
        (
            (served, letter.PIPE, "white", words("maps.key.outlet")),
            (joined & ~served, "white", letter.PIPE, words("maps.key.outlet_short")),
            (~joined, "white", letter.MUTED, words("maps.key.outlet_unjoined")),
        ),
        metres_per_point,
    )


def draw_discs(
    axes: Axes,
    outlets: gpd.GeoDataFrame,
    groups: Sequence[tuple[npt.NDArray[np.bool_], str, str, str]],
    metres_per_point: float,
) -> list[KeyEntry]:
    """Draw outlets as numbered discs in groups: which, face, ink of number and edge, label."""
    size_pt = _disc_size_pt(outlets, metres_per_point)
    entries = []
    for chosen, face, ink, label in groups:
        style = {**_OUTLET, "markerfacecolor": face, "markeredgecolor": ink, "linestyle": "none"}
        style["markersize"] = size_pt
        rows = outlets[chosen]
        if not len(rows):
            continue
        axes.add_line(Line2D(rows.geometry.x, rows.geometry.y, **style, zorder=7))
        for name, point in zip(rows["name"], rows.geometry, strict=True):
            number = number_of(name)
            axes.text(
                point.x, point.y, number, ha="center", va="center_baseline", color=ink,
                fontproperties=letter.font(size_pt * min(0.55, 1.26 / len(number)), "bold"),
                parse_math=False, zorder=7.1,
            )  # fmt: skip
        # On the white of the key a white edge would be lost.
        edge = face if ink == "white" else ink
        entries.append(KeyEntry(Line2D([], [], **{**style, "markeredgecolor": edge}), label))
    return entries


def _disc_size_pt(outlets: gpd.GeoDataFrame, metres_per_point: float) -> float:
    """Return the size at which the two closest outlets just do not touch, within reason."""
    points = shapely.points(shapely.get_coordinates(outlets.geometry.array))
    digits = max((len(number_of(name)) for name in outlets["name"]), default=1)
    smallest_pt = _SMALLEST_DISC_PT + max(digits - 2, 0)
    if len(points) < 2:
        return _LARGEST_DISC_PT
    _, apart = shapely.STRtree(points).query_nearest(
        points, exclusive=True, all_matches=False, return_distance=True
    )
    closest_pt = float(np.min(apart, initial=np.inf)) / metres_per_point
    return min(max(closest_pt - 1.0, smallest_pt), _LARGEST_DISC_PT)


def draw_points(axes: Axes, kind: str, points: gpd.GeoDataFrame) -> list[KeyEntry]:
    """Draw point symbols of one kind."""
    rows = points.geometry[points.geometry.geom_type == "Point"]
    if not len(rows):
        return []
    style = {"markeredgecolor": "white", **_POINTS[kind], "linestyle": "none"}
    axes.add_line(Line2D(rows.x, rows.y, **style, zorder=6))
    return [KeyEntry(Line2D([], [], **style), words(f"maps.key.{kind}"))]


def draw_sources(axes: Axes, sources: gpd.GeoDataFrame) -> list[KeyEntry]:
    """Draw the source in use, and the others hollow."""
    used = sources["feeds_scheme"].to_numpy(bool)
    return [
        *draw_points(axes, "source", sources[used]),
        *draw_points(axes, "other_source", sources[~used]),
    ]


def band_entries(
    edges_m: Sequence[float],
    alpha: float,
    grey: float = 1.0,
    measures: Measures = _METRIC,
) -> list[KeyEntry]:
    """Return the lines of the key for the bands of walking distance, in the tone of the map.

    Parameters
    ----------
    edges_m : sequence of float
    alpha : float
        Strength with which the map lays the shades over what is beneath them.
    grey : float, default 1.0
        Mean tone of what is beneath them, 0 black to 1 white.
    measures : Measures, default metric
    """
    return [
        KeyEntry(
            Patch(facecolor=laid_over(shade, alpha, grey), edgecolor=letter.MUTED, linewidth=0.4),
            words(
                "maps.key.walk",
                near=round_figure(measures.value("length", near)),
                far=f"{round_figure(measures.value('length', far))} {measures.sign('length')}",
            ),
        )
        for near, far, shade in zip(
            edges_m, edges_m[1:], letter.walk_shades(len(edges_m) - 1), strict=False
        )
    ]


def laid_over(colour: str, alpha: float, grey: float) -> tuple[float, float, float]:
    """Return the opaque colour seen where a colour is laid over a grey."""
    red, green, blue = (alpha * part + (1 - alpha) * grey for part in to_rgb(colour))
    return red, green, blue


def contour_entry(label: str, *, strong: bool = False) -> KeyEntry:
    """Return the line of the key for a set of contours."""
    colour = letter.INK if strong else letter.MUTED
    return KeyEntry(Line2D([], [], color=colour, linewidth=0.6), label)


def number_of(name: str) -> str:
    """Return the number at the end of a name that we gave, to stand inside a small symbol."""
    return name.rsplit(" ", 1)[-1]


def seen_features(plan: Plan | CommandArea, frame: shapely.Polygon) -> dict[str, gpd.GeoDataFrame]:
    """Return the features around the paddocks that a map of this frame shows."""
    features = plan.holding.features
    names = ("keep_out", "tracks", "watercourses", "gates")
    return {
        name: table[table.geometry.intersects(frame)]
        for name, table in ((name, getattr(features, name)) for name in names)
    }


def _line(style: Style) -> Line2D:
    renamed = {"solid_capstyle" if key == "capstyle" else key: v for key, v in style.items()}
    return Line2D([], [], **renamed)
