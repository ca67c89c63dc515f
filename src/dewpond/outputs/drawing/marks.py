"""What stands on the ground line of a long section: summits, hollows, breaks in the pressure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection

from dewpond.base.measures import Measures
from dewpond.base.surface import FloatArray
from dewpond.base.words import words
from dewpond.outputs.drawing import lettering as letter
from dewpond.outputs.drawing.pipework import HALF_FULL
from dewpond.outputs.drawing.profile import LABEL_PT, Label, Profile, spread_out, step_aside

_METRIC = Measures("metric")

Layers = Mapping[str, gpd.GeoDataFrame]


@dataclass(frozen=True)
class _Kind:
    """How things of one kind on the ground line are drawn and named; no face: a tank half full."""

    marker: str
    face: str
    edge: str
    up: bool


_KINDS = {
    "air_valve": _Kind("^", "#d55e00", "white", True),
    "washout": _Kind("v", "#117755", "white", False),
    "break_tank": _Kind("s", "", letter.INK, True),
    "reducing_valve": _Kind("P", letter.INK, "white", True),
}
_BREAKS = ("break_tank", "reducing_valve")


def take_marks(layers: Layers, pipes: Sequence[str], measures: Measures = _METRIC) -> pd.DataFrame:
    """Return what stands on the ground line, along the way, with the text that names it."""
    columns = ["kind", "up", "name", "pipe", "distance_m", "ground_level_m"]
    tables = [
        pd.DataFrame(layers[kind].drop(columns="geometry")).assign(kind=kind, up=style.up)[columns]
        for kind, style in _KINDS.items()
    ]
    marks = pd.concat([table for table in tables if len(table)] or tables[:1])
    marks = marks[marks["pipe"].isin(list(pipes))].sort_values("distance_m", kind="stable")
    texts = [
        f"{name}, {measures.text('level', level)}"
        for name, level in zip(marks["name"], marks["ground_level_m"], strict=True)
    ]
    return marks.assign(text=texts, up=marks["up"].astype(bool))


def mark_labels(marks: pd.DataFrame) -> list[Label]:
    """Return the room on paper that the names of some marks take."""
    return [
        Label(level, letter.text_size_pt(text, LABEL_PT)[0] / letter.POINTS_PER_INCH)
        for level, text in zip(marks["ground_level_m"], marks["text"], strict=True)
    ]


def draw_marks(axes: Axes, profile: Profile, marks: pd.DataFrame, stops_m: FloatArray) -> None:
    """Mark and name what stands on the ground line, above it or below it."""
    if not len(marks):
        return
    up = bool(marks["up"].iloc[0])
    way = profile.rise_per_point * (1 if up else -1)
    at, levels = marks["distance_m"].to_numpy(float), marks["ground_level_m"].to_numpy(float)
    # One at a node would lie under its symbol: it is drawn beside the ground line there.
    covered = np.abs(at[:, None] - stops_m[None, :]).min(axis=1)
    levels = np.where(covered < 5 * profile.metres_per_point, levels + 7 * way, levels)
    for name, kind in _KINDS.items():
        own = (marks["kind"] == name).to_numpy(bool)
        if own.any():
            axes.plot(
                at[own], levels[own], linestyle="none", marker=kind.marker, markersize=6,
                markeredgecolor=kind.edge, zorder=5, label=words(f"maps.key.{name}"),
                **({"markerfacecolor": kind.face} if kind.face else HALF_FULL),
            )  # fmt: skip
    gap = profile.label_gap_m
    # The water falls upright at a break: its name stands beside that, too.
    falls_m = at[marks["kind"].isin(_BREAKS).to_numpy(bool)]
    beside = step_aside(at, np.concatenate([stops_m, falls_m]), 0.7 * gap)
    spread = spread_out(np.maximum.accumulate(beside), gap, *axes.get_xlim())
    feet = levels + 12 * way
    leads = [
        [(x, level + 4 * way), (shown, foot)]
        for x, shown, level, foot in zip(at, spread, levels, feet, strict=True)
    ]
    axes.add_collection(
        LineCollection(leads, colors=letter.MUTED, linewidths=0.5, zorder=4), autolim=False
    )
    for shown, foot, text in zip(spread, feet, marks["text"], strict=True):
        axes.text(
            shown, foot + way, text, rotation=90, ha="center",
            va="bottom" if up else "top", fontproperties=letter.font(LABEL_PT),
            color=letter.INK, path_effects=letter.halo(1.5), parse_math=False, zorder=5,
        )  # fmt: skip
