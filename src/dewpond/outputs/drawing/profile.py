"""What a long section shows, and the frame it is drawn in: levels along a line of pipes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from dewpond.base.model import Plan
from dewpond.base.surface import FloatArray
from dewpond.outputs.drawing import lettering as letter

WIDTH_IN, FRAME_IN = 11.0, 4.2
LEFT_IN, RIGHT_IN = 0.75, 0.35
LABEL_PT = 6.2
_LABEL_GAP_PT = 9.0
_BARE_IN, _STRIP_IN = 0.3, 0.25
"""Room left bare round names, and the strip at the foot that holds the names of pipes."""
_MANTISSAS = (8, 6, 5, 4, 3, 2.5, 2, 1.5, 1)


@dataclass(frozen=True, eq=False)
class Profile:
    """Ground along several pipes end to end, and the frame it is drawn in.

    ``low_m`` and ``high_m`` are the limits of the level axis, ``exaggeration`` what they make
    of it, ``metres_per_point`` the length of a point along the distance axis.
    """

    distance_m: FloatArray
    ground_m: FloatArray
    low_m: float
    high_m: float
    exaggeration: float
    metres_per_point: float

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


def take_profile(
    plan: Plan, pipes: Sequence[str], summits: Sequence[Label], hollows: Sequence[Label]
) -> Profile:
    """Return the ground along a line of pipes, exaggerated as far as all its names have room.

    Parameters
    ----------
    plan : Plan
    pipes : sequence of str
        Names of pipes that follow each other.
    summits, hollows : sequence of Label
        Names that stand above the ground and hang below it.
    """
    sections = [plan.heads.sections[pipe] for pipe in pipes]
    distance = np.concatenate([section.distance_m for section in sections])
    ground = np.concatenate([section.ground_level_m for section in sections])
    per_inch = max(float(np.ptp(distance)), 1.0) * 1.02 / (WIDTH_IN - LEFT_IN - RIGHT_IN)
    lowest = float(np.nanmin(ground))
    above = [Label(max(float(np.nanmax(ground)), plan.heads.source_level_m), 0.0), *summits]
    for exaggeration in _exaggerations():
        rise_per_inch = per_inch / exaggeration
        up_in = max(_BARE_IN + s.length_in + (s.level_m - lowest) / rise_per_inch for s in above)
        down_in = max(
            (_BARE_IN + s.length_in - (s.level_m - lowest) / rise_per_inch for s in hollows),
            default=0.0,
        )
        down_in = max(down_in + _STRIP_IN, _STRIP_IN + _BARE_IN)
        if up_in + down_in <= FRAME_IN:
            break
    spare_in = max(FRAME_IN - up_in - down_in, 0.0)
    low = lowest - (down_in + spare_in / 2) * rise_per_inch
    high = low + FRAME_IN * rise_per_inch
    return Profile(distance, ground, low, high, exaggeration, per_inch / letter.POINTS_PER_INCH)


def _exaggerations() -> Iterator[float]:
    """Yield round vertical exaggerations from the greatest to the least."""
    for power in range(3, -5, -1):
        for mantissa in _MANTISSAS:
            yield mantissa * 10.0**power


def take_stops(plan: Plan, pipes: Sequence[str]) -> Stops:
    """Return source, junctions and outlets along a line of pipes."""
    first = str(plan.network.pipes.at[pipes[0], "from_node"])
    names = [first, *(str(plan.network.pipes.at[pipe, "to_node"]) for pipe in pipes)]
    sections = [plan.heads.sections[pipe] for pipe in pipes]
    at = [sections[0].distance_m[0], *(section.distance_m[-1] for section in sections)]
    heads = plan.heads.nodes["static_head_m"].reindex(names).to_numpy(float)
    return Stops(
        np.array(at, dtype=float),
        plan.heads.nodes["ground_level_m"].reindex(names).to_numpy(float),
        tuple(plan.network.nodes["kind"].reindex(names)),
        tuple(
            f"{letter.plain(name, 22)}, static head {head:.1f} m"
            for name, head in zip(names, heads, strict=True)
        ),
    )


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
