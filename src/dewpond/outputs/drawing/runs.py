"""What a sheet of all long sections tells of each run: its levels, and its weakest outlet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd

from dewpond.base.measures import Measures
from dewpond.base.model import Plan
from dewpond.base.words import words
from dewpond.outputs.drawing import lettering as letter
from dewpond.outputs.drawing.profile import Stops, levels_of, take_stops

Layers = Mapping[str, gpd.GeoDataFrame]


@dataclass(frozen=True, eq=False)
class Run:
    """One line of pipes from the source to an end of the tree.

    Attributes
    ----------
    number : int
        Number of its long section.
    levels : DataFrame
        As `Profile.levels`.
    stops : Stops
    end : str
        Name of its last node.
    weakest : str
        Outlet with the least spare head along it; empty where there is none.
    spare_m : float
        What that outlet has beyond the head that its float valve needs [m]; minus infinity where
        water does not come to it, NaN where no pipe will do.
    """

    number: int
    levels: pd.DataFrame
    stops: Stops
    end: str
    weakest: str
    spare_m: float


def take_runs(plan: Plan, layers: Layers, lines: Mapping[str, tuple[str, ...]]) -> tuple[Run, ...]:
    """Return the runs of `section_lines`, numbered in their order."""
    outlets = layers["outlet"].set_index("name")
    served = outlets["served"].to_numpy(bool)
    spare = (outlets["residual_head_m"] - outlets["needed_head_m"]).astype(float)
    # Water that does not come over the ground on the way is worth less than any head.
    spare[~served & (spare >= 0)] = -np.inf
    spare[served] = np.maximum(spare[served], 0.0)
    runs = []
    for number, pipes in enumerate(lines.values(), start=1):
        nodes = [str(plan.network.pipes.at[pipe, "to_node"]) for pipe in pipes]
        own = spare.reindex([node for node in nodes if node in spare.index]).dropna()
        weakest = str(own.idxmin()) if len(own) else ""
        levels = pd.concat([levels_of(plan, pipe) for pipe in pipes], ignore_index=True)
        runs.append(
            Run(
                number,
                levels,
                take_stops(plan, pipes),
                nodes[-1],
                weakest,
                float(own.min()) if len(own) else np.nan,
            )
        )
    return tuple(runs)


def falls_short(run: Run) -> bool:
    """Say whether some outlet of a run does not get the water it needs."""
    return not run.spare_m >= 0


def critical_runs(runs: Sequence[Run]) -> tuple[Run, ...]:
    """Return the runs that fall short, or where none does those with the least head to spare."""
    short = tuple(run for run in runs if falls_short(run))
    least = min((run.spare_m for run in runs if not falls_short(run)), default=np.nan)
    return short or tuple(run for run in runs if run.spare_m == least)


def spare_text(run: Run, measures: Measures) -> str:
    """Return in words what the weakest outlet of a run has to spare."""
    if np.isnan(run.spare_m):
        return words("maps.sections.no_pipe")
    outlet = letter.plain(run.weakest, 30)
    if np.isinf(run.spare_m):
        return words("maps.sections.dry", outlet=outlet)
    key = "short" if run.spare_m < 0 else "spare"
    head = measures.text("head", abs(run.spare_m))
    return words(f"maps.sections.{key}", head=head, outlet=outlet)
