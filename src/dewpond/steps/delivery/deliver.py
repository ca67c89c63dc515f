"""The reverse question: with pipe laid and valves open, what really arrives."""

from __future__ import annotations

import numpy as np
import pandas as pd

from dewpond.base.model import Delivery, Flows, Heads, Intake, Network, Sizes, Watering
from dewpond.base.settings import PipeSettings
from dewpond.base.surface import FloatArray
from dewpond.base.units import l_min_from_m3_s
from dewpond.steps.delivery.piping import IntArray, make_piping
from dewpond.steps.delivery.settle import settle

_NO_FLOW_L_MIN = 1e-6  # rounding of flows that should cancel
# A tank that fills this little slower than it empties is not worth a word [m].
_TANK_SHORT_M = 0.01


def deliver(
    network: Network,
    heads: Heads,
    watering: Watering,
    flows: Flows,
    intake: Intake,
    sizes: Sizes,
    pipe: PipeSettings,
) -> Delivery:
    """Work out what each outlet gets when opened alone, and in the worst combination of mobs.

    Every float valve passes what its head allows, pipes lose head by their flow, and the source
    falls along its curve; all are solved together. In a combination the outlets of one case of
    `flows` stand wide open, with a valve for each mob that drinks there.

    Parameters
    ----------
    network : Network
        Trees and ring mains alike.
    heads : Heads
    watering : Watering
        Seat and discharge coefficient of each float valve, taken to be at ground level.
    flows : Flows
        Cases: where the mobs stand.
    intake : Intake
    sizes : Sizes
        Pipe as chosen; break tanks hold their level and part the network.
    pipe : PipeSettings
        Friction and fittings.

    Returns
    -------
    Delivery
        Flow of one valve at each outlet; NaN throughout where no pipe was chosen.

    Raises
    ------
    SolverError
        Flows did not balance.
    """
    outlets = network.nodes.index[network.nodes["kind"] == "outlet"]
    if (
        not len(network.pipes)
        or not len(outlets)
        or sizes.pipes["inside_diameter_mm"].isna().any()
    ):
        return _nothing(outlets)
    mobs = _mobs_at_outlets(network, flows, watering, outlets)
    count = np.maximum(mobs.max(axis=0, initial=1), 1)
    piping = make_piping(network, heads, watering, sizes, pipe, count)
    alone = np.eye(len(outlets), dtype=np.intp)
    cases = np.vstack([alone, mobs])
    # The first so many valves of an outlet stand open in a case.
    order = np.arange(len(piping.outlet_of_valve)) - np.repeat(np.cumsum(count) - count, count)
    flow = settle(piping, intake, order < cases[:, piping.outlet_of_valve])
    first = np.cumsum(count) - count
    arriving = l_min_from_m3_s(flow.outlet_flow_m3_s[:, first])
    table = _table(outlets, arriving[: len(outlets)].diagonal(), arriving[len(outlets) :], mobs)
    short = piping.break_level_m - flow.head_m[:, piping.before].min(axis=0, initial=np.inf)
    warnings = [
        f"{name}: with outlets wide open more would leave it than flows in; it runs down while "
        "they stand open, and fills again after"
        for name, lack, tank in zip(sizes.breaks.index, short, piping.is_tank, strict=True)
        if tank and lack > _TANK_SHORT_M
    ]
    return Delivery(table, tuple(warnings))


def _nothing(outlets: pd.Index) -> Delivery:
    table = pd.DataFrame(
        {
            "alone_l_min": np.full(len(outlets), np.nan),
            "available_flow_l_min": np.full(len(outlets), np.nan),
            "worst_with": pd.Series([()] * len(outlets), index=outlets, dtype=object),
        },
        index=outlets,
    )
    if not len(outlets):
        return Delivery(table)
    return Delivery(table, ("no pipe was chosen, so that no flow can be worked out",))


def _mobs_at_outlets(
    network: Network, flows: Flows, watering: Watering, outlets: pd.Index
) -> IntArray:
    """Return how many valves are open at each outlet in each case (cases, outlets), each once.

    An outlet that gives more than its design flow waters more than one mob.
    """
    pipes = network.pipes
    carried = flows.cases[list(pipes.index)].to_numpy(dtype=float)
    into = pipes["to_node"].to_numpy()[:, None] == outlets.to_numpy()[None, :]
    out_of = pipes["from_node"].to_numpy()[:, None] == outlets.to_numpy()[None, :]
    drawn = carried @ (into.astype(float) - out_of.astype(float))
    at_source = ~into.any(axis=0)
    if at_source.any():
        here = flows.cases["outlet"].to_numpy()[:, None] == outlets.to_numpy()[None, :]
        drawn = np.where(at_source, here.astype(float), drawn)
    design = watering.outlets.loc[outlets, "design_flow_l_min"].to_numpy(dtype=float)
    mobs = np.ceil(drawn / np.where(design > 0, design, np.inf) - _NO_FLOW_L_MIN)
    mobs = np.where(drawn > _NO_FLOW_L_MIN, np.maximum(mobs, 1), 0).astype(np.intp)
    first = np.unique(mobs, axis=0, return_index=True)[1] if len(mobs) else np.empty(0, np.intp)
    return np.asarray(mobs[np.sort(first)], dtype=np.intp)


def _table(
    outlets: pd.Index, alone: FloatArray, arriving: FloatArray, mobs: IntArray
) -> pd.DataFrame:
    """Return for each outlet its flow alone, the least in any case, and who else drinks then."""
    available: list[float] = []
    company: list[tuple[str, ...]] = []
    for number in range(len(outlets)):
        used = np.flatnonzero(mobs[:, number] > 0)
        if not used.size:
            available.append(float(alone[number]))
            company.append(())
            continue
        worst = int(used[arriving[used, number].argmin()])
        available.append(float(arriving[worst, number]))
        others = np.flatnonzero(mobs[worst] > 0)
        company.append(tuple(str(outlets[other]) for other in others if other != number))
    return pd.DataFrame(
        {
            "alone_l_min": alone,
            "available_flow_l_min": available,
            "worst_with": pd.Series(company, index=outlets, dtype=object),
        },
        index=outlets,
    )
