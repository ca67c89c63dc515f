"""A scheme as rows along its pipe: what each asks of the level of water over the ground."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from dewpond.base.model import Heads, Network, Section, Sizes
from dewpond.base.pipes import surge_m
from dewpond.base.pipesizing.clearance import TANK_INLET_HEAD_M, level_asked_m
from dewpond.base.settings import PipeSettings
from dewpond.base.surface import FloatArray
from dewpond.steps.confidence.field import IntArray

SOURCE_PLACE = 0
"""Position of the source among the places."""


@dataclass(frozen=True, eq=False)
class Places:
    """Ground points of a scheme: the source, then every pipe's section, outward.

    Attributes
    ----------
    easting_m, northing_m, ground_m : array of float, shape (n,)
        Unknown heights are filled in from their neighbours.
    first : array of int, shape (pipes + 1,)
        Where the points of each pipe begin.
    """

    easting_m: FloatArray
    northing_m: FloatArray
    ground_m: FloatArray
    first: IntArray


@dataclass(frozen=True, eq=False)
class Line:
    """What a sized scheme asks, row by row; water gains or loses height over the ground by errors.

    Attributes
    ----------
    pipe, place : array of int, shape (rows,)
        Pipe of each row, ascending, and its place.
    datum : array of int, shape (rows,)
        Place whose ground the level of the water there was set from; `EXACT` where it is known.
    over_m : array of float, shape (rows,)
        Lowest grade less the least that lets water pass: the ground, or the inlet of a break;
        inf where nothing is asked.
    margin_m : array of float, shape (rows,)
        The same, with the margin that the design keeps over the ground.
    strength_m : array of float, shape (rows,)
        What the pipe may still carry besides still water and surge.
    parent : array of int, shape (pipes,)
        Pipe upstream, -1 at the source.
    outlets : tuple of str
    outlet_pipe, outlet_place, outlet_datum : array of int, shape (outlets,)
        Pipe is -1 for an outlet at the source.
    spare_m : array of float, shape (outlets,)
        Residual less needed head.
    static_m : array of float, shape (outlets,)
        Head of still water, the lift of a pump included.
    source_datum : int
        Place that the level of the source was set from; `EXACT` where it is known.
    """

    pipe: IntArray
    place: IntArray
    datum: IntArray
    over_m: FloatArray
    margin_m: FloatArray
    strength_m: FloatArray
    parent: IntArray
    outlets: tuple[str, ...]
    outlet_pipe: IntArray
    outlet_place: IntArray
    outlet_datum: IntArray
    spare_m: FloatArray
    static_m: FloatArray
    source_datum: int


def make_places(network: Network, heads: Heads) -> Places:
    """Gather the ground points of a scheme."""
    source = network.nodes.geometry.iloc[0]
    level = float(network.nodes["ground_level_m"].iloc[0])
    sections = [heads.sections[str(name)] for name in network.pipes.index]
    sizes = [len(section.distance_m) for section in sections]
    ground = np.concatenate([[level], *[section.ground_level_m for section in sections]])
    known = np.isfinite(ground)
    order = np.arange(len(ground))
    if known.any():
        ground = np.interp(order, order[known], ground[known])
    return Places(
        np.concatenate([[source.x], *[section.easting_m for section in sections]]),
        np.concatenate([[source.y], *[section.northing_m for section in sections]]),
        ground,
        1 + np.concatenate([[0], np.cumsum(sizes, dtype=np.intp)]).astype(np.intp),
    )


def make_line(
    network: Network,
    heads: Heads,
    lift_m: float,
    sizes: Sizes,
    pipe: PipeSettings,
    places: Places,
    source_datum: int,
) -> Line:
    """Return a sized scheme as rows.

    Parameters
    ----------
    network, heads, sizes
    lift_m : float
        What a pump adds to the level of still water.
    pipe : PipeSettings
        Margin over the ground, and whether surge counts.
    places : Places
    source_datum : int
        `SOURCE_PLACE` where the level of the source follows the ground of the raster there, else
        `EXACT`.

    Notes
    -----
    Losses do not depend on levels, so the lowest grade of all cases moves with the error of its
    datum as a whole: what the rows hold is exact. Where no pipe fits, the level of still water
    stands for the grade and no class is asked for: chances are then at most as good as told.
    """
    end_datum: dict[str, int] = {str(network.nodes.index[0]): source_datum}
    parts = []
    for position, (name, row) in enumerate(network.pipes.iterrows()):
        anew = row["from_node"] == network.nodes.index[0]
        section, datum = heads.sections[str(name)], end_datum[row["from_node"]]
        part = _pipe_rows(str(name), position, places, sizes, pipe, section, datum, anew=anew)
        end_datum[row["to_node"]] = int(part["datum"][-1])
        parts.append(part)
    rows = {
        key: np.concatenate([part[key] for part in parts]) if parts else np.empty(0)
        for key in ("pipe", "place", "datum", "over_m", "margin_m", "strength_m")
    }
    ends = {str(node): position for position, node in enumerate(network.pipes["to_node"])}
    outlets = tuple(str(name) for name in sizes.outlets.index)
    outlet_pipe = np.array([ends.get(name, -1) for name in outlets], dtype=np.intp)
    spare = sizes.outlets["residual_head_m"] - sizes.outlets["needed_head_m"]
    return Line(
        rows["pipe"].astype(np.intp),
        rows["place"].astype(np.intp),
        rows["datum"].astype(np.intp),
        rows["over_m"],
        rows["margin_m"],
        rows["strength_m"],
        np.array([ends.get(str(node), -1) for node in network.pipes["from_node"]], dtype=np.intp),
        outlets,
        outlet_pipe,
        np.where(outlet_pipe >= 0, places.first[outlet_pipe + 1] - 1, SOURCE_PLACE),
        np.array([end_datum.get(name, source_datum) for name in outlets], dtype=np.intp),
        np.nan_to_num(spare.to_numpy(dtype=float), nan=-np.inf),
        heads.nodes.loc[list(outlets), "static_head_m"].to_numpy(dtype=float) + lift_m,
        source_datum,
    )


def _pipe_rows(
    name: str,
    position: int,
    places: Places,
    sizes: Sizes,
    pipe: PipeSettings,
    section: Section,
    datum: int,
    *,
    anew: bool,
) -> dict[str, npt.NDArray[np.generic]]:
    """Return the rows of one pipe, stretch after stretch between its breaks."""
    table = sizes.grade[name]
    distance = table["distance_m"].to_numpy(dtype=float)
    point = np.minimum(np.searchsorted(section.distance_m, distance), len(section.distance_m) - 1)
    place = places.first[position] + point
    ground, still = places.ground_m[place], table["static_level_m"].to_numpy(dtype=float)
    grade = table["grade_level_m"].to_numpy(dtype=float)
    grade = np.where(np.isnan(grade), still, grade)
    over, margin = np.full(len(place), np.inf), np.full(len(place), np.inf)
    datums = np.full(len(place), datum, dtype=np.intp)
    starts = _starts(name, distance, sizes.breaks, section.distance_m[0])
    for number, (first, item) in enumerate(starts):
        last = starts[number + 1][0] if number + 1 < len(starts) else len(place)
        part = slice(first, last)
        if item is not None:
            datums[first:] = place[first]
        way = distance[part] - distance[first]
        for asked_over, margin_m in ((over, 0.0), (margin, pipe.summit_margin_m)):
            asked = ground[part] + margin_m
            if anew or item is not None:
                asked = level_asked_m(way, ground[part], float(still[first]), margin_m)
            asked_over[part] = grade[part] - asked
        if item is not None and first > 0:
            tank = item["kind"] == "break tank"
            inlet = float(item["level_m"]) + (TANK_INLET_HEAD_M if tank else 0.0)
            over[first - 1] = min(over[first - 1], grade[first - 1] - inlet)
    row = sizes.pipes.loc[name]
    surge = float(surge_m(row["velocity_m_s"], row["sdr"])) if pipe.surge else 0.0
    strength = float(row["working_head_m"]) - surge - (still - ground)
    return {
        "pipe": np.full(len(place), position, dtype=np.intp),
        "place": place,
        "datum": datums,
        "over_m": over,
        "margin_m": margin,
        "strength_m": np.where(np.isnan(strength), np.inf, strength),
    }


def _starts(
    name: str, distance_m: FloatArray, breaks: pd.DataFrame, begin_m: float
) -> list[tuple[int, pd.Series | None]]:
    """Return the first row of each stretch of a pipe, with the break that it begins at."""
    here = breaks[breaks["pipe"] == name].sort_values("distance_m")
    found: list[tuple[int, pd.Series | None]] = [(0, None)]
    for _, item in here.iterrows():
        at = np.flatnonzero(np.isclose(distance_m - begin_m, item["distance_m"], atol=1e-6))
        if not at.size or (at[-1] == len(distance_m) - 1 and at.size == 1):
            continue  # a break at the very end sets no level on this pipe
        found = [start for start in found if start[0] != at[-1]] + [(int(at[-1]), item)]
    return found
