"""Trough, float valve and design flow at each outlet."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pandas as pd

from dewpond.base.float_valves import seats_offered
from dewpond.base.model import Demand, Holding, Network, Reach, Siting, Terrain, Watering
from dewpond.base.settings import DesignSettings, TroughSettings
from dewpond.base.surface import interpolate
from dewpond.base.words import words
from dewpond.steps.troughs.outlets import STEEPEST_DEGREES, Stand, rather_fixed, stand_at
from dewpond.steps.troughs.rules import ONES_AND_TWOS, TOGETHER, Use, judge_use
from dewpond.steps.troughs.stock import find_drinkers

# Ohio State University ANR-12: a herd walks to water as a group over 1000 ft.
_GROUP_BEYOND_M = 304.8

_NAMED = 5  # outlets that a warning names before it counts the rest

_USE_COLUMNS = (
    "mob", "outlet", "paddock", "trough", "farthest_walk_m", "arrival", "rule",
    "design_flow_l_min", "drinking_at_once", "trough_volume_l",
)  # fmt: skip


def choose_troughs(
    holding: Holding,
    terrain: Terrain,
    demand: Demand,
    reach: Reach,
    siting: Siting,
    network: Network,
    trough: TroughSettings,
    design: DesignSettings,
    folder: str | Path = ".",
) -> Watering:
    """Return how stock drink at each outlet, and the trough and valve that it takes.

    Parameters
    ----------
    holding : Holding
        Its mobs, and the names and areas of its paddocks.
    terrain : Terrain
        Its slope, on which the trough stands.
    demand : Demand
        Daily demand and drinking hours of each mob, by month where it has periods.
    reach, siting : Reach, Siting
        Grazed cells, and the site that each walks to.
    network : Network
        The outlets that pipe reaches.
    trough : TroughSettings
        Volumes, rules, valve.
    design : DesignSettings
        The trough, where neither a paddock nor a mob has its own.
    folder : str or Path
        What the path of the table of valves is relative to.

    Returns
    -------
    Watering

    Raises
    ------
    InputError
        With every fault of a table of valves.

    Notes
    -----
    Stock drink in ones and twos within the set walk *or* in a paddock up to the set size, as
    common practice has it: a short walk and a small paddock each keep a mob from moving to
    water as one. Closed forms throughout: see `DrinkingEvent`.
    """
    found = find_drinkers(holding, demand, reach, siting, network, trough, design)
    uses = [judge_use(drinkers, trough) for drinkers in found]
    nodes = network.nodes[network.nodes["kind"] == "outlet"]
    slopes = interpolate(
        terrain.slope_degrees,
        nodes.geometry.x.to_numpy(float),
        nodes.geometry.y.to_numpy(float),
    )
    offered = seats_offered(trough, folder)
    by_outlet: dict[str, list[Use]] = {str(name): [] for name in nodes.index}
    for use in uses:
        by_outlet[use.drinkers.outlet].append(use)
    stands = {
        name: stand_at(here, float(slope), trough, offered, design.trough)
        for (name, here), slope in zip(by_outlet.items(), slopes, strict=True)
    }
    warnings = (
        *_dry_mobs(holding, uses),
        *_together(uses, trough),
        *_long_walks(uses, trough),
        *_run_dry(uses, stands),
        *_steep(stands, slopes),
        *_narrow_valves(stands, trough),
    )
    return Watering(_uses_table(uses), _outlets_table(stands), warnings)


def _uses_table(uses: Sequence[Use]) -> pd.DataFrame:
    rows = [
        (
            use.drinkers.mob, use.drinkers.outlet, use.drinkers.paddock, use.drinkers.trough,
            use.drinkers.farthest_walk_m, use.arrival, use.rule, use.flow_l_min,
            int(use.event.at_once), use.least_volume_l,
        )
        for use in uses
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=list(_USE_COLUMNS))


def _outlets_table(stands: dict[str, Stand]) -> pd.DataFrame:
    rows = [
        {
            "trough": stand.trough,
            "design_flow_l_min": stand.design_flow_l_min,
            "trough_volume_l": stand.trough_volume_l,
            "troughs": stand.troughs,
            "drinking_spaces": stand.drinking_spaces,
            "head_per_trough": stand.head_per_trough,
            "refill_min": stand.refill_min,
            "seat_bore_mm": stand.seat.bore_mm,
            "discharge_coefficient": stand.seat.discharge_coefficient,
            "valve_head_m": stand.seat.head_m,
            "notes": stand.notes,
        }
        for stand in stands.values()
    ]
    columns = [
        "trough", "design_flow_l_min", "trough_volume_l", "troughs", "drinking_spaces",
        "head_per_trough", "refill_min", "seat_bore_mm", "discharge_coefficient",
        "valve_head_m", "notes",
    ]  # fmt: skip
    return pd.DataFrame(rows, index=pd.Index(list(stands), dtype=object), columns=columns)


def _dry_mobs(holding: Holding, uses: Sequence[Use]) -> list[str]:
    watered = {use.drinkers.mob for use in uses}
    return [
        words("troughs.choose.mob_without_outlet", name=mob.name)
        for mob in holding.mobs
        if mob.name not in watered
    ]


def _together(uses: Sequence[Use], trough: TroughSettings) -> list[str]:
    groups: dict[tuple[str, str, float], list[Use]] = {}
    for use in uses:
        if use.arrival == TOGETHER:
            key = (use.drinkers.mob, use.rule, round(use.flow_l_min, 6))
            groups.setdefault(key, []).append(use)
    return [
        words(
            "troughs.choose.comes_together",
            mob=mob,
            names=_names(group),
            singly_within_m=trough.singly_within_m,
            singly_within_ha=trough.singly_within_ha,
            flow_l_min=group[0].flow_l_min,
            rule=rule,
            rather_fixed=rather_fixed(group[0], trough),
        )
        for (mob, rule, _), group in groups.items()
    ]


def _long_walks(uses: Sequence[Use], trough: TroughSettings) -> list[str]:
    far = [
        use
        for use in uses
        if use.arrival == ONES_AND_TWOS
        and use.drinkers.farthest_walk_m > _GROUP_BEYOND_M
        and use.drinkers.area_ha > trough.singly_within_ha
    ]
    if not far:
        return []
    longest_m = max(use.drinkers.farthest_walk_m for use in far)
    return [words("troughs.choose.drink_singly", names=_names(far), longest_m=longest_m)]


def _run_dry(uses: Sequence[Use], stands: dict[str, Stand]) -> list[str]:
    short = [
        use for use in uses if stands[use.drinkers.outlet].trough_volume_l < use.least_volume_l
    ]
    if not short:
        return []
    most_l = max(use.ample_volume_l for use in short)
    return [words("troughs.choose.trough_runs_dry", names=_names(short), most_l=most_l)]


def _steep(stands: dict[str, Stand], slopes: np.ndarray) -> list[str]:
    steep = [name for name, slope in zip(stands, slopes, strict=True) if slope > STEEPEST_DEGREES]
    if not steep:
        return []
    return [
        words(
            "troughs.choose.stance_too_steep",
            listed=_listed(steep),
            steepest_degrees=STEEPEST_DEGREES,
        )
    ]


def _narrow_valves(stands: dict[str, Stand], trough: TroughSettings) -> list[str]:
    narrow = [
        name for name, stand in stands.items() if stand.seat.head_m > trough.valve_head_limit_m
    ]
    if not narrow:
        return []
    return [
        words(
            "troughs.choose.no_valve_passes",
            listed=_listed(narrow),
            valve_head_limit_m=trough.valve_head_limit_m,
        )
    ]


def _names(uses: Sequence[Use]) -> str:
    return _listed(list(dict.fromkeys(use.drinkers.outlet for use in uses)))


def _listed(names: Sequence[str]) -> str:
    """Name the first few of many; the notes at each outlet say the rest."""
    if len(names) <= _NAMED + 1:
        return ", ".join(names)
    return ", ".join(names[:_NAMED]) + words("troughs.choose.and_more", count=len(names) - _NAMED)
