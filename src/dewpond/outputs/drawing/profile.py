"""What a long section shows, and the frame it is drawn in: levels along a line of pipes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from dewpond.base.measures import Measures
from dewpond.base.model import Plan
from dewpond.base.surface import FloatArray
from dewpond.base.words import words
from dewpond.outputs.drawing import lettering as letter

WIDTH_IN, FRAME_IN = 11.0, 4.2
LEFT_IN, RIGHT_IN = 0.75, 0.35
LABEL_PT = 6.2
_LABEL_GAP_PT = 9.0
_BARE_IN = 0.3
"""Room left bare round names."""
_LEAST_SHARE_FOR_CLASS = 0.5
"""The class limit is drawn whole where the ground then keeps this share of its height on paper."""
_MANTISSAS = (8, 6, 5, 4, 3, 2.5, 2, 1.5, 1)


@dataclass(frozen=True, eq=False)
class Profile:
    """Levels along several pipes end to end, and the frame they are drawn in.

    ``levels`` has a row for each point and columns ``distance_m``, ``ground_level_m``,
    ``static_level_m``, ``grade_level_m``, ``class_limit_level_m``, as `Sizes.grade` has them.
    ``low_m`` and ``high_m`` are the limits of the level axis, ``exaggeration`` what they make
    of it, ``metres_per_point`` the length of a point along the distance axis.
    """

    levels: pd.DataFrame
    low_m: float
    high_m: float
    exaggeration: float
    metres_per_point: float

    @property
    def distance_m(self) -> FloatArray:
        """Distance of each point from the source [m]."""
        return np.asarray(self.levels["distance_m"], dtype=float)

    @property
    def ground_m(self) -> FloatArray:
        """Level of the ground at each point [m]."""
        return np.asarray(self.levels["ground_level_m"], dtype=float)

    @property
    def rise_per_point(self) -> float:
        """Metres of level for one point on the sheet."""
        return self.metres_per_point / self.exaggeration

    @property
    def label_gap_m(self) -> float:
        """Least distance between upright names [m]."""
        return _LABEL_GAP_PT * self.metres_per_point


@dataclass(frozen=True)
class Label:
    """An upright name on the ground line: the level it starts from and its length on paper."""

    level_m: float
    length_in: float


@dataclass(frozen=True, eq=False)
class Stops:
    """Source, junctions and outlets of a line: where they stand, and what is written there."""

    distance_m: FloatArray
    ground_m: FloatArray
    kinds: tuple[str, ...]
    texts: tuple[str, ...]
    names: tuple[str, ...] = ()


def take_profile(
    plan: Plan, pipes: Sequence[str], summits: Sequence[Label], hollows: Sequence[Label]
) -> Profile:
    """Return the levels along a line of pipes, exaggerated as far as all names have room.

    The limit of the class is kept in the frame unless the rest would shrink too far for it.

    Parameters
    ----------
    plan : Plan
    pipes : sequence of str
        Names of pipes that follow each other.
    summits, hollows : sequence of Label
        Names that stand above the ground and hang below it.
    """
    levels = pd.concat([levels_of(plan, pipe) for pipe in pipes], ignore_index=True)
    distance, ground = (levels[c].to_numpy(float) for c in ("distance_m", "ground_level_m"))
    per_inch = max(float(np.ptp(distance)), 1.0) * 1.02 / (WIDTH_IN - LEFT_IN - RIGHT_IN)
    lowest = float(np.nanmin(ground))
    water = levels[["ground_level_m", "static_level_m", "grade_level_m"]].to_numpy(float)
    labels = [Label(float(np.nanmax(water)), 0.0), *summits]
    frame = _fit(labels, hollows, lowest, per_inch)
    limit = levels["class_limit_level_m"].to_numpy(float)
    if np.isfinite(limit).any():
        whole = _fit([*labels, Label(float(np.nanmax(limit)), 0.0)], hollows, lowest, per_inch)
        frame = whole if whole[2] >= _LEAST_SHARE_FOR_CLASS * frame[2] else frame
    return Profile(levels, *frame, per_inch / letter.POINTS_PER_INCH)


def _fit(
    above: Sequence[Label], below: Sequence[Label], lowest_m: float, per_inch: float
) -> tuple[float, float, float]:
    """Return the limits of the level axis [m] and the exaggeration at which all has room."""
    for exaggeration in exaggerations():
        rise_per_inch = per_inch / exaggeration
        up_in = max(_BARE_IN + s.length_in + (s.level_m - lowest_m) / rise_per_inch for s in above)
        down_in = max(
            (_BARE_IN + s.length_in - (s.level_m - lowest_m) / rise_per_inch for s in below),
            default=0.0,
        )
        down_in = max(down_in, _BARE_IN)
        if up_in + down_in <= FRAME_IN:
            break
    spare_in = max(FRAME_IN - up_in - down_in, 0.0)
    low = lowest_m - (down_in + spare_in / 2) * rise_per_inch
    return low, low + FRAME_IN * rise_per_inch, exaggeration


def levels_of(plan: Plan, pipe: str) -> pd.DataFrame:
    """Return the levels along one pipe; ground and still water where it was not sized."""
    grade = plan.scheme.sizes.grade.get(pipe)
    if grade is not None and len(grade):
        return grade
    section = plan.heads.sections[pipe]
    return pd.DataFrame(
        {
            "distance_m": section.distance_m,
            "ground_level_m": section.ground_level_m,
            "static_level_m": plan.heads.source_level_m,
            "grade_level_m": np.nan,
            "class_limit_level_m": np.nan,
        }
    )


def exaggerations() -> Iterator[float]:
    """Yield round vertical exaggerations from the greatest to the least."""
    for power in range(3, -5, -1):
        for mantissa in _MANTISSAS:
            yield mantissa * 10.0**power


def take_stops(plan: Plan, pipes: Sequence[str]) -> Stops:
    """Return source, junctions and outlets along a line of pipes, each with its heads."""
    first = str(plan.network.pipes.at[pipes[0], "from_node"])
    names = [first, *(str(plan.network.pipes.at[pipe, "to_node"]) for pipe in pipes)]
    tables = [levels_of(plan, pipe) for pipe in pipes]
    ends = pd.DataFrame([tables[0].iloc[0], *(table.iloc[-1] for table in tables)])
    ground = ends["ground_level_m"].to_numpy(float)
    flowing = ends["grade_level_m"].to_numpy(float) - ground
    measures = Measures(plan.project.documents.units)
    at_outlets = plan.scheme.sizes.outlets["residual_head_m"].reindex(names).to_numpy(float)
    flowing = np.where(np.isfinite(at_outlets), at_outlets, flowing)
    return Stops(
        ends["distance_m"].to_numpy(float),
        ground,
        tuple(plan.network.nodes["kind"].reindex(names)),
        tuple(
            letter.minus(_stop_text(name, still, flow, measures))
            for name, still, flow in zip(
                names, ends["static_level_m"].to_numpy(float) - ground, flowing, strict=True
            )
        ),
        tuple(names),
    )


def _stop_text(name: str, still_m: float, flowing_m: float, measures: Measures) -> str:
    """Return what is written at a node: its head without flow, and with it where it is known."""
    said = {"name": letter.plain(name, 22), "still": measures.text("head", still_m)}
    if not np.isfinite(flowing_m):
        return words("maps.section.stop", **said)
    return words("maps.section.stop_flowing", **said, flowing=measures.text("head", flowing_m))


def step_aside(at: FloatArray, lines: FloatArray, clear: float) -> FloatArray:
    """Move positions that lie too close to an upright line just clear of it, on their side."""
    nearest = lines[np.abs(at[:, None] - lines[None, :]).argmin(axis=1)]
    side = np.where(at >= nearest, 1.0, -1.0)
    return np.where(np.abs(at - nearest) < clear, nearest + side * clear, at)


def spread_out(at: FloatArray, gap: float, low: float, high: float) -> FloatArray:
    """Move ascending positions apart to at least `gap`, within limits, as little as may be."""
    gap = min(gap, (high - low) / max(len(at), 1))
    steps = gap * np.arange(len(at))
    forward = np.maximum.accumulate(at - steps) + steps
    backward = np.minimum.accumulate((at - steps)[::-1])[::-1] + steps
    # The mean of two orders with the gap kept has it kept as well.
    middle = (forward + backward) / 2
    return np.asarray(np.clip(middle, low + steps, high - steps[::-1]), dtype=float)
