"""What one long section shows: levels along its line, and what stands on it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from dewpond.base.surface import FloatArray
from dewpond.base.words import words
from dewpond.outputs.drawing.plan_sheet.job import Job
from dewpond.outputs.drawing.plan_sheet.page import one_line
from dewpond.outputs.drawing.profile import take_profile

MARKS = ("air_valve", "washout", "break_tank", "reducing_valve", "drain")
_LONGEST_NAME = 24


@dataclass(frozen=True, eq=False)
class Stops:
    """Ends of the pipes along a line: where they are, and what is written there."""

    distance_m: FloatArray
    ground_m: FloatArray
    kinds: tuple[str, ...]
    texts: tuple[tuple[str, str], ...]


@dataclass(frozen=True, eq=False)
class Levels:
    """A line of pipe for its section.

    Attributes
    ----------
    pipes : tuple of str
    sizes : tuple of str
        What is written of the size of each pipe.
    table : DataFrame
        As `Sizes.grade` has it, pipes end to end.
    stops : Stops
    marks : DataFrame
        Columns ``kind``, ``name``, ``distance_m``, ``ground_level_m``.
    low_m, high_m : float
        Lowest ground, and the highest of ground and still water.
    """

    pipes: tuple[str, ...]
    sizes: tuple[str, ...]
    table: pd.DataFrame
    stops: Stops
    marks: pd.DataFrame
    low_m: float
    high_m: float

    @property
    def start_m(self) -> float:
        """Distance of its start from the source."""
        return float(self.table["distance_m"].iloc[0])

    @property
    def length_m(self) -> float:
        """Length along the ground."""
        return float(self.table["distance_m"].iloc[-1]) - self.start_m


def take_levels(job: Job, pipes: Sequence[str]) -> Levels:
    """Return what the section of a line of pipes shows.

    Parameters
    ----------
    job : Job
    pipes : sequence of str
        Each starts where the one before it ends.
    """
    table = take_profile(job.plan, pipes, (), ()).levels
    ground = table["ground_level_m"].to_numpy(float)
    still = table["static_level_m"].to_numpy(float)
    marks = [
        job.layers[kind].assign(kind=kind)[
            ["kind", "name", "pipe", "distance_m", "ground_level_m"]
        ]
        for kind in MARKS
        if len(job.layers[kind])
    ]
    standing = pd.concat(marks) if marks else pd.DataFrame({"pipe": [], "distance_m": []})
    standing = standing[standing["pipe"].isin(list(pipes))]
    return Levels(
        tuple(pipes),
        tuple(_size(job, pipe) for pipe in pipes),
        table,
        _stops(job, pipes),
        pd.DataFrame(standing).sort_values("distance_m", kind="stable"),
        float(np.nanmin(ground)),
        float(np.nanmax(np.concatenate([ground, still]))),
    )


def _size(job: Job, pipe: str) -> str:
    row = job.plan.scheme.sizes.pipes.reindex([pipe]).iloc[0]
    size_mm = float(row["outside_diameter_mm"])
    if not np.isfinite(size_mm):
        return words("plan_sheet.section.no_size")
    return words(
        "plan_sheet.section.size", size_mm=size_mm, material=one_line(str(row["material"]), 16)
    )


def _stops(job: Job, pipes: Sequence[str]) -> Stops:
    network = job.plan.network
    first = str(network.pipes.at[pipes[0], "from_node"])
    names = [first, *(str(network.pipes.at[pipe, "to_node"]) for pipe in pipes)]
    tables = [take_profile(job.plan, [pipe], (), ()).levels for pipe in pipes]
    ends = pd.DataFrame([tables[0].iloc[0], *(table.iloc[-1] for table in tables)])
    ground = ends["ground_level_m"].to_numpy(float)
    still = ends["static_level_m"].to_numpy(float) - ground
    flowing = ends["grade_level_m"].to_numpy(float) - ground
    at_outlets = job.plan.scheme.sizes.outlets["residual_head_m"].reindex(names).to_numpy(float)
    flowing = np.where(np.isfinite(at_outlets), at_outlets, flowing)
    texts = tuple(
        (
            one_line(name, _LONGEST_NAME),
            words(
                "plan_sheet.section.heads",
                still=job.measures.figure("head", rest),
                flowing=job.measures.figure("head", flow),
            ).replace("-", "\N{MINUS SIGN}"),
        )
        for name, rest, flow in zip(names, still, flowing, strict=True)
    )
    kinds = tuple(str(kind) for kind in network.nodes["kind"].reindex(names))
    return Stops(ends["distance_m"].to_numpy(float), ground, kinds, texts)
