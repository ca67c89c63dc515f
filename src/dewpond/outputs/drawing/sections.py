"""Long sections: ground, still and flowing water along a line of pipe, and what stands on it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import geopandas as gpd
import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure

from dewpond.base.measures import Measures
from dewpond.base.model import Plan
from dewpond.base.units import bar_from_head_m
from dewpond.base.words import words
from dewpond.outputs.drawing import band
from dewpond.outputs.drawing import lettering as letter
from dewpond.outputs.drawing.marks import draw_marks, mark_labels, take_marks
from dewpond.outputs.drawing.profile import (
    FRAME_IN,
    LABEL_PT,
    LEFT_IN,
    RIGHT_IN,
    WIDTH_IN,
    Profile,
    Stops,
    spread_out,
    take_profile,
    take_stops,
)
from dewpond.outputs.drawing.scales import label_in_unit

_KEY_IN, _AXIS_IN = 0.42, 0.42
_BOTTOM_IN = _KEY_IN + _AXIS_IN + band.HEIGHT_IN
_TITLES_IN, _ELBOW_IN = 1.03, 0.2
EARTH, EARTH_LINE, ABOVE_WATER = "#e9e0d2", "#6b5335", "#efb9b0"
_LIMIT = "#8c1d40"
_DOUBT_ALPHA = 0.35
GRADE_DASH, STILL_DASH, _LIMIT_DASH = "solid", (0, (6, 2.5)), (0, (5, 1.5, 1, 1.5))
"""Lines are told apart by their dashes: they must read in grey as well."""

Layers = Mapping[str, gpd.GeoDataFrame]


def long_section(plan: Plan, layers: Layers, pipes: Sequence[str], number: int) -> Figure:
    """Draw the long section of a line of pipes that follow each other.

    Parameters
    ----------
    plan : Plan
    layers : mapping of str to GeoDataFrame
        Features of the plan by kind; summits, hollows and breaks take their names from there.
    pipes : sequence of str
        Names of pipes, each starting where the one before it ends.
    number : int
        Number of the section, for its title.

    Returns
    -------
    Figure
        Distance from the source [m] against level [m], with a round vertical exaggeration.
    """
    measures = Measures(plan.project.documents.units)
    marks = take_marks(layers, pipes, measures)
    stops = take_stops(plan, pipes)
    profile = take_profile(
        plan, pipes, *(mark_labels(marks[marks["up"] == up]) for up in (True, False))
    )
    names_in = max(letter.text_size_pt(text, LABEL_PT)[0] for text in stops.texts)
    height_in = _BOTTOM_IN + FRAME_IN + _ELBOW_IN + names_in / letter.POINTS_PER_INCH + _TITLES_IN
    figure = letter.new_figure(WIDTH_IN, height_in)
    axes, foot = _new_axes(figure, height_in)
    _dress(axes, foot, plan, profile, measures)
    _draw_levels(axes, profile)
    _draw_doubt(axes, plan, pipes)
    _draw_stops(axes, profile, stops)
    texts = band.pipe_texts(plan.scheme.sizes.pipes, pipes)
    band.draw_band(foot, stops.distance_m, pipes, texts, profile.metres_per_point)
    for up in (True, False):
        draw_marks(axes, profile, marks[marks["up"] == up], stops.distance_m)
    _write_titles(figure, plan, profile, pipes, number, measures)
    _draw_key(figure, axes)
    return figure


def _new_axes(figure: Figure, height_in: float) -> tuple[Axes, Axes]:
    """Return the frame of the section, and that of the band right under it."""
    left, width = LEFT_IN / WIDTH_IN, 1 - (LEFT_IN + RIGHT_IN) / WIDTH_IN
    below = (_KEY_IN + _AXIS_IN) / height_in
    axes = figure.add_axes((left, _BOTTOM_IN / height_in, width, FRAME_IN / height_in))
    foot = figure.add_axes((left, below, width, band.HEIGHT_IN / height_in), sharex=axes)
    return axes, foot


def _dress(axes: Axes, foot: Axes, plan: Plan, profile: Profile, measures: Measures) -> None:
    first, last = profile.distance_m.min(), profile.distance_m.max()
    pad = max(last - first, 1.0) * 0.01
    axes.set_xlim(first - pad, last + pad)
    axes.set_ylim(profile.low_m, profile.high_m)
    terrain = plan.project.terrain
    datum = letter.plain(terrain.height_datum or "", 30) if terrain else ""
    unit = measures.sign("length")
    foot.set_xlabel(words("maps.section.distance", unit=unit))
    key = "level_datum" if datum else "level"
    axes.set_ylabel(words(f"maps.section.{key}", unit=unit, datum=datum))
    for axis in (foot.xaxis, axes.yaxis):
        axis.label.set(fontproperties=letter.font(8), color=letter.INK, parse_math=False)
        label_in_unit(axis, 1 / measures.value("length", 1.0))
    for frame in (axes, foot):
        frame.tick_params(length=3, width=0.6, color=letter.MUTED, labelcolor=letter.INK)
    axes.tick_params(axis="x", bottom=False, labelbottom=False)
    for text in (*foot.get_xticklabels(), *axes.get_yticklabels()):
        text.set_fontproperties(letter.font(7))
    axes.grid(axis="y", color=letter.FAINT, linewidth=0.5, zorder=0)
    axes.set_axisbelow(True)
    for spine in axes.spines.values():
        spine.set(color=letter.MUTED, linewidth=0.7)


def _draw_levels(axes: Axes, profile: Profile) -> None:
    x, ground = profile.distance_m, profile.ground_m
    levels = profile.levels
    axes.fill_between(x, ground, profile.low_m, color=EARTH, linewidth=0, zorder=1)
    axes.plot(
        x, ground, color=EARTH_LINE, linewidth=1.5, label=words("maps.section.ground"), zorder=3
    )
    for column, key, colour, width, dash in (
        ("static_level_m", "still", letter.STILL_WATER, 1.3, STILL_DASH),
        ("grade_level_m", "grade", letter.PIPE, 1.3, GRADE_DASH),
        ("class_limit_level_m", "class_limit", _LIMIT, 1.1, _LIMIT_DASH),
    ):
        level = levels[column].to_numpy(float)
        if np.isfinite(level).any() and np.nanmin(level) < profile.high_m:
            axes.plot(
                x, level, color=colour, linewidth=width, linestyle=dash, zorder=2.5,
                label=words(f"maps.section.{key}"),
            )  # fmt: skip
    highest = levels[["static_level_m", "grade_level_m"]].min(axis=1).to_numpy(float)
    if (ground > highest).any():
        axes.fill_between(
            x,
            ground,
            highest,
            where=(ground > highest).tolist(),
            interpolate=True,
            facecolor=ABOVE_WATER,
            linewidth=0,
            label=words("maps.section.above_water"),
            zorder=2.8,
        )


def _draw_doubt(axes: Axes, plan: Plan, pipes: Sequence[str]) -> None:
    """Shade how high and low the ground may lie against its water, where that was assessed."""
    if plan.confidence is None:
        return
    bands = [plan.confidence.bands[pipe] for pipe in pipes if pipe in plan.confidence.bands]
    for number, band_m in enumerate(bands):
        axes.fill_between(
            band_m["distance_m"], band_m["low_m"], band_m["high_m"], facecolor=EARTH_LINE,
            alpha=_DOUBT_ALPHA, linewidth=0, zorder=2.85,
            label=words("maps.section.ground_band") if number == 0 else None,
        )  # fmt: skip


def _draw_stops(axes: Axes, profile: Profile, stops: Stops) -> None:
    """Mark source, junctions and outlets, with their static heads above the frame."""
    for kind, marker, face in (
        ("source", "s", letter.INK),
        ("junction", "D", "white"),
        ("outlet", "o", letter.PIPE),
    ):
        own = np.array([stop == kind for stop in stops.kinds], dtype=bool)
        if own.any():
            axes.plot(
                stops.distance_m[own], stops.ground_m[own], linestyle="none", marker=marker,
                markersize=5.5, markerfacecolor=face, markeredgecolor=letter.PIPE,
                label=words(f"maps.section.{kind}"), zorder=6,
            )  # fmt: skip
    spread = spread_out(stops.distance_m, profile.label_gap_m, *axes.get_xlim())
    top, elbow = profile.high_m, 9 * profile.rise_per_point
    leads = [
        [(x, level), (x, top), (shown, top + elbow)]
        for x, shown, level in zip(stops.distance_m, spread, stops.ground_m, strict=True)
    ]
    # One collection: a line for each would be several times as slow.
    axes.add_collection(
        LineCollection(leads, colors=letter.MUTED, linewidths=0.5, clip_on=False, zorder=2.2),
        autolim=False,
    )
    for shown, text in zip(spread, stops.texts, strict=True):
        axes.text(
            shown, top + 1.25 * elbow, text, rotation=90, ha="center", va="bottom",
            fontproperties=letter.font(LABEL_PT), color=letter.INK, parse_math=False,
        )  # fmt: skip


def _write_titles(
    figure: Figure,
    plan: Plan,
    profile: Profile,
    pipes: Sequence[str],
    number: int,
    measures: Measures,
) -> None:
    height_in = figure.get_size_inches()[1]
    title = words(
        "maps.title.section",
        holding=letter.plain(plan.holding.name, 40),
        number=number,
        start=letter.plain(str(plan.network.pipes.at[pipes[0], "from_node"]), 30),
        end=letter.plain(str(plan.network.pipes.at[pipes[-1], "to_node"]), 30),
    )
    head = profile.levels["static_level_m"].to_numpy(float) - profile.ground_m
    highest, lowest = float(np.nanmax(head)), float(np.nanmin(head))
    heads = words(
        "maps.section.heads",
        length=measures.text("length", float(np.ptp(profile.distance_m))),
        level=measures.text("level", plan.heads.source_level_m, 2),
        lowest=measures.figure("head", lowest),
        highest=measures.text("head", highest),
        pressure=measures.text("pressure", bar_from_head_m(highest)),
        exaggeration=f"{profile.exaggeration:g}",
    )
    reason = words("maps.section.level_from", reason=plan.heads.source_level_reason)
    lines = [heads, _flow_line(plan, profile, pipes, measures), reason]
    room_pt = (WIDTH_IN - 2 * 0.35) * letter.POINTS_PER_INCH
    rows = [(title, 12.0, "bold", letter.INK, 0.2)]
    rows += [(line, 8.0, "normal", letter.MUTED, 0.46 + 0.175 * i) for i, line in enumerate(lines)]
    for text, size, weight, colour, down_in in rows:
        text = letter.minus(letter.plain(text, 250))
        shown, size_pt = letter.fit(text, size, room_pt, weight)
        figure.text(
            0.35 / WIDTH_IN, 1 - down_in / height_in, shown, va="top", color=colour,
            fontproperties=letter.font(size_pt, weight), parse_math=False,
        )  # fmt: skip


def _flow_line(plan: Plan, profile: Profile, pipes: Sequence[str], measures: Measures) -> str:
    """Return what flows, the least head left, and how far the class limit lies above the water."""
    flow = plan.scheme.flows.pipes["design_flow_l_min"].reindex(list(pipes)).to_numpy(float)
    first, last = (measures.text("flow", value) for value in (flow[0], flow[-1]))
    parts = [words("maps.section.flow", first=first, last=last)]
    levels = profile.levels
    left = levels["grade_level_m"].to_numpy(float) - profile.ground_m
    if not np.isfinite(left).any():
        return letter.SEPARATOR.join([*parts, words("maps.section.no_pipe")])
    least = measures.text("head", float(np.nanmin(left)))
    parts.append(words("maps.section.least_head", head=least))
    room = (levels["class_limit_level_m"] - levels["static_level_m"]).to_numpy(float)
    if np.isfinite(room).any():
        beyond = levels["class_limit_level_m"].to_numpy(float) > profile.high_m
        key = "class_beyond" if beyond.all() else "class_beyond_part"
        key = key if beyond.any() else "class_room"
        said = measures.text("head", float(np.nanmin(room)))
        parts.append(words(f"maps.section.{key}", head=said))
    return letter.SEPARATOR.join(parts)


def _draw_key(figure: Figure, axes: Axes) -> None:
    handles, labels = axes.get_legend_handles_labels()
    legend = figure.legend(
        handles=handles,
        labels=labels,
        loc="lower left",
        bbox_to_anchor=(LEFT_IN / WIDTH_IN, 0.1 / figure.get_size_inches()[1]),
        # Two rows at most have room under the axis.
        ncols=5 if len(handles) <= 10 else 6,
        prop=letter.font(6.8),
        frameon=False,
        borderaxespad=0,
        borderpad=0,
    )
    for text in legend.get_texts():
        text.set_parse_math(False)
        text.set_color(letter.INK)
