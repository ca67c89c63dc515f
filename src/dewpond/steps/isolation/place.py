"""Stop valves, meter and drains: where they stand, and who goes dry behind a shut one."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from dewpond.base.extrema import least_prominence_m
from dewpond.base.model import Demand, Heads, Holding, Isolation, Network, Section, Watering
from dewpond.base.settings import DesignSettings, SupplySettings
from dewpond.base.words import words
from dewpond.steps.isolation.frost import frost_notes

_COLUMNS = [
    "kind", "pipe", "distance_m", "easting_m", "northing_m", "ground_level_m", "reason",
]  # fmt: skip


def place_isolation(
    holding: Holding,
    demand: Demand,
    network: Network,
    heads: Heads,
    watering: Watering,
    supply: SupplySettings,
    design: DesignSettings,
) -> Isolation:
    """Place stop valves, a meter and drains, and work out who goes dry behind each valve.

    A stop valve and a meter stand after the source; at every fork each pipe that leads on has a
    stop valve, so that either side can be shut while the other runs. Drains stand in every hollow
    and at every end that lies lower than the pipe before it. All of it is common practice, no
    source; hollows are those of `heads`.

    Parameters
    ----------
    holding : Holding
        Paddocks by area, and the kind of the source.
    demand : Demand
        Litres a day of each mob, its weight in the share left dry.
    network : Network
        A tree.
    heads : Heads
        Ground along the pipe.
    watering : Watering
        Where each mob drinks in each paddock.
    supply : SupplySettings
        Depth of cover against frost, and whether the scheme is used in winter.
    design : DesignSettings
        Whether pipe lies on the surface.

    Returns
    -------
    Isolation
        `dry_share` counts a mob as being in each of its paddocks for a time by their area, and
        dry in those where every outlet it uses is shut; mobs weigh by their litres a day.
    """
    if not len(network.pipes):
        fittings = pd.DataFrame(columns=_COLUMNS)
        return Isolation(fittings, pd.DataFrame(columns=["outlets_shut", "dry_share"]))
    valves = [_at_source(network, heads, "stop valve"), *_at_forks(network, heads)]
    fall_m = least_prominence_m(holding.surface.posting_m)
    drains = [*_in_hollows(heads), *_at_ends(network, heads, fall_m)]
    rows = [*valves, _at_source(network, heads, "meter"), *drains]
    fittings = pd.DataFrame(rows, columns=_COLUMNS, index=_names(rows))
    shut = [_all_outlets(network), *(_beyond(network, row["pipe"]) for row in valves[1:])]
    sections = pd.DataFrame(
        {
            "outlets_shut": pd.Series(shut, index=fittings.index[: len(valves)], dtype=object),
            "dry_share": [_dry_share(holding, demand, watering, outlets) for outlets in shut],
        },
        index=fittings.index[: len(valves)],
    )
    source = holding.sources[network.source]
    return Isolation(fittings, sections, frost_notes(source, supply, design, len(drains)))


def _names(rows: list[dict[str, object]]) -> pd.Index:
    count: dict[object, int] = {}
    names = []
    for row in rows:
        count[row["kind"]] = count.get(row["kind"], 0) + 1
        names.append(f"{row['kind']} {count[row['kind']]}")
    return pd.Index(names, dtype=object)


def _fitting(kind: str, pipe: str, section: Section, point: int, reason: str) -> dict[str, object]:
    return {
        "kind": kind,
        "pipe": pipe,
        "distance_m": float(section.distance_m[point] - section.distance_m[0]),
        "easting_m": float(section.easting_m[point]),
        "northing_m": float(section.northing_m[point]),
        "ground_level_m": float(section.ground_level_m[point]),
        "reason": reason,
    }


def _at_source(network: Network, heads: Heads, kind: str) -> dict[str, object]:
    """Return the valve that shuts, or the meter that measures, the whole scheme."""
    reason = {
        "stop valve": words("isolation.place.main_stop_valve"),
        "meter": words("isolation.place.meter_purpose"),
    }[kind]
    pipe = str(network.pipes.index[0])
    return _fitting(kind, pipe, heads.sections[pipe], 0, reason)


def _at_forks(network: Network, heads: Heads) -> list[dict[str, object]]:
    """Return a stop valve at the start of every pipe that leaves a fork, the source included."""
    leaving = network.pipes["from_node"].value_counts()
    return [
        _fitting(
            "stop valve",
            str(pipe),
            heads.sections[str(pipe)],
            0,
            words("isolation.place.branch_stop_valve", start=start),
        )
        for pipe, start in network.pipes["from_node"].items()
        if leaving[start] > 1
    ]


def _in_hollows(heads: Heads) -> list[dict[str, object]]:
    return [
        _fitting("drain", pipe, section, point, words("isolation.place.hollow_drain"))
        for pipe, section in heads.sections.items()
        for point in section.hollows
    ]


def _at_ends(network: Network, heads: Heads, fall_m: float) -> list[dict[str, object]]:
    """Return drains where pipe ends, or begins at the source, lower than the way to it."""
    found = []
    first = str(network.pipes.index[0])
    alone = (network.pipes["from_node"] == network.nodes.index[0]).sum() == 1
    if alone and _falls_to_end(heads.sections[first].ground_level_m[::-1], fall_m):
        reason = words("isolation.place.falls_to_source")
        found.append(_fitting("drain", first, heads.sections[first], 0, reason))
    ends = ~network.pipes["to_node"].isin(network.pipes["from_node"])
    for pipe in network.pipes.index[ends]:
        section = heads.sections[str(pipe)]
        if _falls_to_end(section.ground_level_m, fall_m):
            last = len(section.distance_m) - 1
            reason = words("isolation.place.low_end_drain", at=network.pipes.at[pipe, "to_node"])
            found.append(_fitting("drain", str(pipe), section, last, reason))
    return found


def _falls_to_end(ground_m: npt.NDArray[np.float64], fall_m: float) -> bool:
    """Say whether ground falls at least so far [m] to its end from the last rise before it."""
    known = ground_m[~np.isnan(ground_m)]
    if known.size < 2:
        return False
    lower = np.flatnonzero(known < known[-1])
    since = known[lower[-1] :] if lower.size else known
    return bool(since.max() - known[-1] >= fall_m)


def _all_outlets(network: Network) -> tuple[str, ...]:
    return tuple(map(str, network.nodes.index[network.nodes["kind"] == "outlet"]))


def _beyond(network: Network, pipe: object) -> tuple[str, ...]:
    """Return the outlets that a pipe leads to, in the order of the network."""
    reached = {network.pipes.at[pipe, "to_node"]}
    for start, end in zip(network.pipes["from_node"], network.pipes["to_node"], strict=True):
        if start in reached:  # pipes are ordered outward
            reached.add(end)
    return tuple(outlet for outlet in _all_outlets(network) if outlet in reached)


def _dry_share(
    holding: Holding, demand: Demand, watering: Watering, shut: tuple[str, ...]
) -> float:
    """Return the share of the stock with no other water in the paddock it grazes."""
    uses = watering.uses
    area = holding.paddocks["area_ha"]
    litres = demand.mobs["daily_demand_l"]
    dry_l = whole_l = 0.0
    for mob, drinks in uses.groupby("mob", sort=True):
        dry = drinks["outlet"].isin(shut).groupby(drinks["paddock"]).all()
        weight = area.loc[dry.index].to_numpy(dtype=float)
        daily_l = float(litres.loc[mob])
        whole_l += daily_l
        dry_l += daily_l * float(np.average(dry.to_numpy(dtype=float), weights=weight))
    return dry_l / whole_l if whole_l > 0 else 0.0
