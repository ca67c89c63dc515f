"""The reverse question: with pipe laid and valves open, what really arrives."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd
import scipy.sparse as sp
from scipy.sparse.csgraph import connected_components

from dewpond.base.model import Delivery, Flows, Heads, Intake, Network, Sizes, Watering
from dewpond.base.settings import PipeSettings
from dewpond.base.surface import FloatArray
from dewpond.base.units import l_min_from_m3_s
from dewpond.base.words import words
from dewpond.steps.delivery.piping import make_piping
from dewpond.steps.delivery.settle import settle

BoolArray = npt.NDArray[np.bool_]

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
    `flows` stand wide open. Where several mobs drink at one, its valve is taken as larger by as
    much as they draw over the most demanding of them, and the flow given is the share of that one.

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
        NaN for outlets that no sized pipe leads to, and throughout where there is none.

    Raises
    ------
    SolverError
        Flows did not balance.
    """
    outlets = network.nodes.index[network.nodes["kind"] == "outlet"]
    joined = _joined(network, sizes, outlets)
    if not len(network.pipes) or not joined.any():
        return _nothing(outlets)
    combinations = _combinations(network, flows, watering, outlets)
    # An outlet without pipe stays shut.
    combinations[:, ~joined] = 0.0
    cases = np.vstack([np.diag(joined.astype(float)), combinations])
    # A valve for each size that an outlet takes in some case; one of them stands open at a time.
    pairs = [(n, size) for n in range(len(outlets)) for size in np.unique(cases[:, n]) if size > 0]
    of_valve = np.array([outlet for outlet, _ in pairs], dtype=np.intp)
    times = np.array([size for _, size in pairs])
    piping = make_piping(network, heads, watering, sizes, pipe, of_valve, times)
    flow = settle(piping, intake, cases[:, of_valve] == times)
    arriving = np.zeros(cases.shape)
    np.add.at(arriving.T, of_valve, l_min_from_m3_s(flow.outlet_flow_m3_s / times).T)
    alone, together = arriving[: len(outlets)].diagonal(), arriving[len(outlets) :]
    table = _table(outlets, alone, together, combinations)
    table.loc[~joined, ["alone_l_min", "available_flow_l_min"]] = np.nan
    short = piping.break_level_m - flow.head_m[:, piping.before].min(axis=0, initial=np.inf)
    warnings = [
        words("delivery.deliver.tank_runs_down", name=name)
        for name, lack, tank in zip(sizes.breaks.index, short, piping.is_tank, strict=True)
        if tank and lack > _TANK_SHORT_M
    ]
    return Delivery(table, tuple(warnings))


def _joined(network: Network, sizes: Sizes, outlets: pd.Index) -> BoolArray:
    """Return which outlets (outlets,) the source reaches by pipe that has a size."""
    place = {str(name): number for number, name in enumerate(network.nodes.index)}
    sized = network.pipes[sizes.pipes.loc[network.pipes.index, "inside_diameter_mm"].notna()]
    start, end = ([place[str(name)] for name in sized[side]] for side in ("from_node", "to_node"))
    ways = sp.coo_array((np.ones(len(start)), (start, end)), shape=(len(place),) * 2)
    part = connected_components(ways, directed=False)[1]
    source = np.flatnonzero(network.nodes["kind"] == "source")
    return np.isin(part[[place[str(name)] for name in outlets]], part[source])


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
    return Delivery(table, (words("delivery.deliver.no_size_fits"),))


def _combinations(
    network: Network, flows: Flows, watering: Watering, outlets: pd.Index
) -> FloatArray:
    """Return how many times its design flow each outlet gives in each case, each case once.

    Shape (cases, outlets); 0 where it is shut and never else below 1.
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
    times = np.maximum(drawn / np.where(design > 0, design, np.inf), 1.0).round(6)
    times = np.where(drawn > _NO_FLOW_L_MIN, times, 0.0)
    if not len(times):
        return times
    first = np.unique(times, axis=0, return_index=True)[1]
    return np.asarray(times[np.sort(first)])


def _table(
    outlets: pd.Index, alone: FloatArray, arriving: FloatArray, times: FloatArray
) -> pd.DataFrame:
    """Return for each outlet its flow alone, the least in any case, and who else drinks then."""
    available: list[float] = []
    company: list[tuple[str, ...]] = []
    for number in range(len(outlets)):
        used = np.flatnonzero(times[:, number] > 0)
        if not used.size:
            available.append(float(alone[number]))
            company.append(())
            continue
        worst = int(used[arriving[used, number].argmin()])
        available.append(float(arriving[worst, number]))
        others = np.flatnonzero(times[worst] > 0)
        company.append(tuple(str(outlets[other]) for other in others if other != number))
    return pd.DataFrame(
        {
            "alone_l_min": alone,
            "available_flow_l_min": available,
            "worst_with": pd.Series(company, index=outlets, dtype=object),
        },
        index=outlets,
    )
