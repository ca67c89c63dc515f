"""The laid pipe as a network to be solved: tanks and reducing valves begin networks of their own.

Any network will do, ring mains too; only where pipe is cut by a break must it be a tree.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from dewpond.base.friction import (
    DarcyWeisbach,
    FrictionLaw,
    HazenWilliams,
    float_valve_coefficient_m2,
)
from dewpond.base.model import Heads, Network, Sizes, Watering
from dewpond.base.pipenetwork import Outlets, PipeNetwork
from dewpond.base.settings import PipeSettings
from dewpond.base.surface import FloatArray
from dewpond.base.water import water_at

IntArray = npt.NDArray[np.intp]
BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Piping:
    """A network with the places that hold a level.

    Attributes
    ----------
    network : PipeNetwork
        Fixed levels: the source first, then the breaks in the order of `Sizes.breaks`.
    outlet_of_valve : array of int, shape (valves,)
        Outlet (in the order of the network's nodes) that each float valve belongs to.
    before : array of int, shape (breaks,)
        Node on the side of each break that water comes from.
    break_level_m : array of float, shape (breaks,)
    is_tank : array of bool, shape (breaks,)
        True for a break tank, which keeps its level whatever the pressure before it.
    leaves_source, leaves_break : array of bool, shapes (pipes,) and (breaks, pipes)
        Which pipes begin at the source, and at each break.
    """

    network: PipeNetwork
    outlet_of_valve: IntArray
    before: IntArray
    break_level_m: FloatArray
    is_tank: BoolArray
    leaves_source: BoolArray
    leaves_break: BoolArray


def make_piping(
    network: Network,
    heads: Heads,
    watering: Watering,
    sizes: Sizes,
    pipe: PipeSettings,
    of_valve: IntArray,
    times: FloatArray,
) -> Piping:
    """Return the pipe as laid, with float valves some times as large as those of their outlets."""
    nodes = {str(name): number for number, name in enumerate(network.nodes.index)}
    outlets = network.nodes.index[network.nodes["kind"] == "outlet"]
    breaks = sizes.breaks
    rows = _rows(network, sizes, nodes)
    start, end, length, bore, share = (np.array(column) for column in zip(*rows, strict=True))
    after = len(nodes) + 2 * np.arange(len(breaks)) + 1
    fitted = watering.outlets.loc[outlets]
    coefficient = float_valve_coefficient_m2(
        fitted["seat_bore_mm"].to_numpy(dtype=float) / 1000.0,
        fitted["discharge_coefficient"].to_numpy(dtype=float),
    )
    level = heads.nodes.loc[outlets, "ground_level_m"].to_numpy(dtype=float)
    places = np.array([nodes[str(outlet)] for outlet in outlets], dtype=np.intp)
    break_level = breaks["level_m"].to_numpy(dtype=float)
    solved = PipeNetwork(
        len(nodes) + 2 * len(breaks),
        start.astype(np.intp),
        end.astype(np.intp),
        length,
        bore,
        pipe.fittings_loss * share,
        np.concatenate([[0], after]).astype(np.intp),
        np.concatenate([[heads.source_level_m], break_level]),
        _friction(pipe),
        Outlets(places[of_valve], level[of_valve], times * coefficient[of_valve]),
    )
    return Piping(
        solved,
        of_valve,
        after - 1,
        break_level,
        np.asarray(breaks["kind"].to_numpy() == "break tank", dtype=bool),
        start == 0,
        start[None, :] == after[:, None],
    )


def _friction(pipe: PipeSettings) -> FrictionLaw:
    if pipe.friction == "Hazen-Williams":
        return HazenWilliams(pipe.hazen_williams_c)
    water = water_at(pipe.water_temperature_c)
    return DarcyWeisbach(water.kinematic_viscosity_m2_s, pipe.roughness_mm / 1000.0)


def _rows(
    network: Network, sizes: Sizes, nodes: dict[str, int]
) -> list[tuple[int, int, float, float, float]]:
    """Return start, end, length, bore and share of its pipe for each stretch between breaks.

    Pipe without a size leads to shut outlets only, so the widest bore does for it.

    A break at the very start or end of a pipe has a stretch of no length there; a millimetre
    stands for it, so that every node is joined to the network.
    """
    rows = []
    bores_mm = sizes.pipes["inside_diameter_mm"].fillna(sizes.pipes["inside_diameter_mm"].max())
    for name, row in network.pipes.iterrows():
        bore = float(bores_mm[name]) / 1000.0
        length = float(row["length_m"])
        start, at = nodes[str(row["from_node"])], 0.0
        for number, cut in _breaks_on(str(name), sizes.breaks):
            before = len(nodes) + 2 * number
            way = max(min(cut, length) - at, 0.001)
            rows.append((start, before, way, bore, way / length))
            start, at = before + 1, min(cut, length)
        way = max(length - at, 0.001)
        rows.append((start, nodes[str(row["to_node"])], way, bore, way / length))
    return rows


def _breaks_on(pipe: str, breaks: pd.DataFrame) -> list[tuple[int, float]]:
    """Return position and distance of the breaks on a pipe, outward."""
    here = np.flatnonzero(breaks["pipe"].to_numpy() == pipe)
    found = [(int(number), float(breaks["distance_m"].iloc[number])) for number in here]
    return sorted(found, key=lambda item: item[1])
