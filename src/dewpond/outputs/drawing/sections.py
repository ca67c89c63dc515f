"""Long sections: ground and still water along a line of pipe, with all that stands on it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import geopandas as gpd
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from dewpond.base.model import Plan
from dewpond.base.surface import FloatArray
from dewpond.base.units import bar_from_head_m
from dewpond.outputs.drawing import lettering as letter
from dewpond.outputs.drawing.profile import (
    FRAME_IN,
    LABEL_PT,
    LEFT_IN,
    RIGHT_IN,
    WIDTH_IN,
    Label,
    Profile,
    Stops,
    spread_out,
    step_aside,
    take_profile,
    take_stops,
)

_BOTTOM_IN = 0.95
_TITLES_IN, _ELBOW_IN = 0.85, 0.2
_EARTH, _EARTH_LINE, _ABOVE_WATER = "#e9e0d2", "#6b5335", "#efb9b0"
_SUMMIT, _HOLLOW = "#d55e00", "#117755"

Layers = Mapping[str, gpd.GeoDataFrame]


def long_section(plan: Plan, layers: Layers, pipes: Sequence[str], number: int) -> Figure:
    """Draw the long section of a line of pipes that follow each other.

    Parameters
    ----------
    plan : Plan
    layers : mapping of str to GeoDataFrame
        Features of the plan by kind; summits and hollows take their names from there.
    pipes : sequence of str
        Names of pipes, each starting where the one before it ends.
    number : int
        Number of the section, for its title.

    Returns
    -------
    Figure
        Distance from the source [m] against level [m], with a round vertical exaggeration.
    """
    tops = _on_line(layers["air_valve"], pipes)
    dips = _on_line(layers["washout"], pipes)
    stops = take_stops(plan, pipes)
    profile = take_profile(plan, pipes, _labels(tops), _labels(dips))
    names_in = max(letter.text_size_pt(text, LABEL_PT)[0] for text in stops.texts)
    height_in = _BOTTOM_IN + FRAME_IN + _ELBOW_IN + names_in / letter.POINTS_PER_INCH + _TITLES_IN
    figure = letter.new_figure(WIDTH_IN, height_in)
    axes = figure.add_axes(
        (
            LEFT_IN / WIDTH_IN,
            _BOTTOM_IN / height_in,
            1 - (LEFT_IN + RIGHT_IN) / WIDTH_IN,
            FRAME_IN / height_in,
        )
    )
    _dress(axes, plan, profile)
    _draw_levels(axes, plan, profile)
    _draw_stops(axes, profile, stops)
    _name_pipes(axes, profile, stops.distance_m, pipes)
    _draw_points(axes, profile, tops, stops.distance_m, up=True)
    _draw_points(axes, profile, dips, stops.distance_m, up=False)
    _write_titles(figure, plan, profile, pipes, number)
    _draw_key(figure, axes)
    return figure


def _on_line(points: gpd.GeoDataFrame, pipes: Sequence[str]) -> gpd.GeoDataFrame:
    return points[points["pipe"].isin(list(pipes))].sort_values("distance_m", kind="stable")


def _labels(points: gpd.GeoDataFrame) -> list[Label]:
    return [
        Label(level, letter.text_size_pt(text, LABEL_PT)[0] / letter.POINTS_PER_INCH)
        for level, text in zip(points["ground_level_m"], _point_texts(points), strict=True)
    ]


def _point_texts(points: gpd.GeoDataFrame) -> list[str]:
    return [
        f"{name}, {level:.1f} m"
        for name, level in zip(points["name"], points["ground_level_m"], strict=True)
    ]


def _dress(axes: Axes, plan: Plan, profile: Profile) -> None:
    first, last = profile.distance_m.min(), profile.distance_m.max()
    pad = max(last - first, 1.0) * 0.01
    axes.set_xlim(first - pad, last + pad)
    axes.set_ylim(profile.low_m, profile.high_m)
    terrain = plan.project.terrain
    datum = letter.plain(terrain.height_datum or "", 30) if terrain else ""
    axes.set_xlabel("Distance along the pipe from the source (m)")
    axes.set_ylabel(f"Level above {datum} datum (m)" if datum else "Level (m)")
    for axis in (axes.xaxis, axes.yaxis):
        axis.label.set(fontproperties=letter.font(8), color=letter.INK, parse_math=False)
        axis.get_offset_text().set_visible(False)
    axes.ticklabel_format(useOffset=False, style="plain")
    axes.tick_params(length=3, width=0.6, color=letter.MUTED, labelcolor=letter.INK)
    for text in (*axes.get_xticklabels(), *axes.get_yticklabels()):
        text.set_fontproperties(letter.font(7))
    axes.grid(axis="y", color=letter.FAINT, linewidth=0.5, zorder=0)
    axes.set_axisbelow(True)
    for spine in axes.spines.values():
        spine.set(color=letter.MUTED, linewidth=0.7)


def _draw_levels(axes: Axes, plan: Plan, profile: Profile) -> None:
    level = plan.heads.source_level_m
    x, ground = profile.distance_m, profile.ground_m
    axes.fill_between(x, ground, profile.low_m, color=_EARTH, linewidth=0, zorder=1)
    axes.plot(x, ground, color=_EARTH_LINE, linewidth=1.5, label="Ground", zorder=3)
    axes.axhline(
        level,
        color=letter.STILL_WATER,
        linewidth=1.3,
        linestyle=(0, (6, 2.5)),
        label="Static water level (no flow)",
        zorder=2.5,
    )
    if (ground > level).any():
        axes.fill_between(
            x,
            ground,
            level,
            where=ground > level,
            interpolate=True,
            facecolor=_ABOVE_WATER,
            linewidth=0,
            label="Ground above the static water level",
            zorder=2.8,
        )


def _draw_stops(axes: Axes, profile: Profile, stops: Stops) -> None:
    """Mark source, junctions and outlets, with their static heads above the frame."""
    for kind, marker, face, label in (
        ("source", "s", letter.INK, "Source"),
        ("junction", "D", "white", "Junction"),
        ("outlet", "o", letter.PIPE, "Outlet"),
    ):
        own = np.array([stop == kind for stop in stops.kinds], dtype=bool)
        if own.any():
            axes.plot(
                stops.distance_m[own], stops.ground_m[own], linestyle="none", marker=marker,
                markersize=5.5, markerfacecolor=face, markeredgecolor=letter.PIPE, label=label,
                zorder=6,
            )  # fmt: skip
    spread = spread_out(stops.distance_m, profile.label_gap_m, *axes.get_xlim())
    top, elbow = profile.high_m, 9 * profile.rise_per_point
    for x, shown, level, text in zip(
        stops.distance_m, spread, stops.ground_m, stops.texts, strict=True
    ):
        axes.plot(
            [x, x, shown], [level, top, top + elbow], color=letter.MUTED, linewidth=0.5,
            clip_on=False, zorder=2.2,
        )  # fmt: skip
        axes.text(
            shown, top + 1.25 * elbow, text, rotation=90, ha="center", va="bottom",
            fontproperties=letter.font(LABEL_PT), color=letter.INK, parse_math=False,
        )  # fmt: skip


def _name_pipes(axes: Axes, profile: Profile, at: FloatArray, pipes: Sequence[str]) -> None:
    """Write the name of each pipe between its ends, at the foot of the frame, where it fits."""
    for name, start, end in zip(pipes, at, at[1:], strict=False):
        if letter.text_size_pt(name, 6)[0] * profile.metres_per_point < end - start:
            axes.text(
                (start + end) / 2, profile.low_m + 5 * profile.rise_per_point, name,
                ha="center", va="bottom", fontproperties=letter.font(6, style="italic"),
                color=letter.PIPE, parse_math=False, zorder=4,
            )  # fmt: skip
    for x in at:
        axes.plot(
            [x, x], [profile.low_m, profile.low_m + 14 * profile.rise_per_point],
            color=letter.MUTED, linewidth=0.5, zorder=2.2,
        )  # fmt: skip


def _draw_points(
    axes: Axes, profile: Profile, points: gpd.GeoDataFrame, stops_m: FloatArray, *, up: bool
) -> None:
    """Mark and name summits above the ground, or hollows below it."""
    if not len(points):
        return
    at, levels = points["distance_m"].to_numpy(float), points["ground_level_m"].to_numpy(float)
    axes.plot(
        at, levels, linestyle="none", marker="^" if up else "v", markersize=6,
        color=_SUMMIT if up else _HOLLOW, markeredgecolor="white", zorder=5,
        label="Summit: place for an air valve" if up else "Hollow: place for a washout",
    )  # fmt: skip
    gap = profile.label_gap_m
    beside = step_aside(at, stops_m, 0.7 * gap)
    spread = spread_out(np.maximum.accumulate(beside), gap, *axes.get_xlim())
    way = profile.rise_per_point * (1 if up else -1)
    for x, shown, level, text in zip(at, spread, levels, _point_texts(points), strict=True):
        foot = level + 12 * way
        axes.plot([x, shown], [level + 4 * way, foot], color=letter.MUTED, linewidth=0.5, zorder=4)
        axes.text(
            shown, foot + way, text, rotation=90, ha="center",
            va="bottom" if up else "top", fontproperties=letter.font(LABEL_PT),
            color=letter.INK, path_effects=letter.halo(1.5), parse_math=False, zorder=5,
        )  # fmt: skip


def _write_titles(
    figure: Figure, plan: Plan, profile: Profile, pipes: Sequence[str], number: int
) -> None:
    height_in = figure.get_size_inches()[1]
    start = letter.plain(str(plan.network.pipes.at[pipes[0], "from_node"]), 30)
    end = letter.plain(str(plan.network.pipes.at[pipes[-1], "to_node"]), 30)
    level = plan.heads.source_level_m
    highest = level - float(np.nanmin(profile.ground_m))
    lowest = level - float(np.nanmax(profile.ground_m))
    title = f"{letter.plain(plan.holding.name, 40)}: long section {number}, {start} to {end}"
    lines = [
        f"Length {np.ptp(profile.distance_m):,.0f} m  ·  static water level {level:.2f} m  ·  "
        f"static head {lowest:.1f} to {highest:.1f} m (at most {bar_from_head_m(highest):.1f} "
        f"bar)  ·  vertical exaggeration {profile.exaggeration:g}",
        f"Static water level from {plan.heads.source_level_reason}",
    ]
    room_pt = (WIDTH_IN - 2 * 0.35) * letter.POINTS_PER_INCH
    rows = [(title, 12.0, "bold", letter.INK, 0.2)]
    rows += [(line, 8.0, "normal", letter.MUTED, 0.46 + 0.18 * i) for i, line in enumerate(lines)]
    for text, size, weight, colour, down_in in rows:
        shown, size_pt = letter.fit(letter.plain(text, 250), size, room_pt, weight)
        figure.text(
            0.35 / WIDTH_IN, 1 - down_in / height_in, shown, va="top", color=colour,
            fontproperties=letter.font(size_pt, weight), parse_math=False,
        )  # fmt: skip


def _draw_key(figure: Figure, axes: Axes) -> None:
    handles, labels = axes.get_legend_handles_labels()
    legend = figure.legend(
        handles=handles,
        labels=labels,
        loc="lower left",
        bbox_to_anchor=(LEFT_IN / WIDTH_IN, 0.1 / figure.get_size_inches()[1]),
        ncols=4,
        prop=letter.font(7),
        frameon=False,
        borderaxespad=0,
        borderpad=0,
    )
    for text in legend.get_texts():
        text.set_parse_math(False)
        text.set_color(letter.INK)
