"""Who drinks where: one row for each mob, outlet and paddock, with what the trough must suit."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import pandas as pd

from dewpond.base.model import Demand, Holding, Mob, Network, Reach, Siting
from dewpond.base.settings import DesignSettings, TroughSettings
from dewpond.base.tables import Column, packaged_table

_TRAITS = {
    "species": Column(choices=("cattle", "sheep", "goats", "horses")),
    "lactating": Column("yes or no"),
    "from_kg": Column("number", least=0),
    "drinking_rate_l_min": Column("number", least=0.1, most=40),
    "rate_source": Column(),
    "edge_m_head": Column("number", least=0.05, most=3),
    "edge_source": Column(),
    "highest_rim_m": Column("number", least=0.1, most=1.5),
    "rim_source": Column(),
    "trough_l_head": Column("number", least=0.5, most=100),
    "volume_source": Column(),
}


@dataclass(frozen=True)
class Traits:
    """What a kind of stock needs of a trough."""

    drinking_rate_l_min: float
    edge_m_head: float
    highest_rim_m: float
    trough_l_head: float


@dataclass(frozen=True)
class Drinkers:
    """A mob that drinks at an outlet from a paddock, as it is when it needs most there.

    Attributes
    ----------
    mob, outlet, paddock_name, species : str
    paddock : int
    trough : str
        "mobile" or "fixed".
    farthest_walk_m, area_ha : float
        Longest walk from the ground that goes to this outlet; area of the paddock.
    head : float
        Animals that drink, young counted apart among them.
    daily_l, hours, fixed_hours : float
        Water of the peak day [L]; hours in which it is drunk from such a trough, and from a
        fixed one.
    traits : Traits
        Rate and edge of the mob; rim for the lightest of it.
    """

    mob: str
    outlet: str
    paddock: int
    paddock_name: str
    species: str
    trough: str
    farthest_walk_m: float
    area_ha: float
    head: float
    daily_l: float
    hours: float
    fixed_hours: float
    traits: Traits


@lru_cache(maxsize=1)
def _traits() -> pd.DataFrame:
    return packaged_table("troughs.csv", _TRAITS)


def traits_of(species: str, lactating: bool, weight_kg: float) -> Traits:
    """Return what stock of a species, state and live weight [kg] needs of a trough."""
    rows = _traits()
    fits = (
        (rows["species"] == species)
        & (rows["lactating"] == lactating)
        & (rows["from_kg"] <= weight_kg)
    )
    row = rows[fits].sort_values("from_kg", kind="stable").iloc[-1]
    return Traits(
        row["drinking_rate_l_min"], row["edge_m_head"], row["highest_rim_m"], row["trough_l_head"]
    )


def find_drinkers(
    holding: Holding,
    demand: Demand,
    reach: Reach,
    siting: Siting,
    network: Network,
    trough: TroughSettings,
    design: DesignSettings,
) -> list[Drinkers]:
    """Return every mob, outlet and paddock it drinks there from, by outlet, mob, paddock.

    Ground goes to its nearest outlet; one that no pipe joins to the source is left out.
    """
    walks = _walks(reach, siting, network)
    found = []
    for (outlet, paddock), walk_m in walks.items():
        for mob in holding.mobs:
            if paddock in mob.paddocks:
                found.append(
                    _drinkers(
                        holding, demand, mob, str(outlet), int(paddock), float(walk_m),
                        trough, design,
                    )
                )  # fmt: skip
    place = {name: number for number, name in enumerate(network.nodes.index)}
    return sorted(found, key=lambda use: (place[use.outlet], use.mob, use.paddock))


def _walks(reach: Reach, siting: Siting, network: Network) -> pd.Series:
    """Return the longest walk [m] by outlet and paddock."""
    outlets = network.nodes[network.nodes["kind"] == "outlet"]
    names = pd.Series(outlets.index, index=outlets["site"].to_numpy())
    cells = pd.DataFrame(
        {
            "outlet": pd.Series(siting.nearest_site).map(names).to_numpy(dtype=object),
            "paddock": reach.cells["paddock"].to_numpy(),
            "walk_m": np.asarray(siting.walk_m, float),
        }
    ).dropna(subset="outlet")
    return cells.groupby(["outlet", "paddock"])["walk_m"].max()


def _drinkers(
    holding: Holding,
    demand: Demand,
    mob: Mob,
    outlet: str,
    paddock: int,
    walk_m: float,
    trough: TroughSettings,
    design: DesignSettings,
) -> Drinkers:
    row = demand.mobs.loc[mob.name]
    stock = _when_it_needs_most(demand, mob.name, paddock)
    name = str(holding.paddocks.at[paddock, "name"])
    kind = mob.settings.trough or design.trough
    kind = "fixed" if name in trough.fixed_in else "mobile" if name in trough.mobile_in else kind
    traits = traits_of(str(row["species"]), bool(stock["lactating"]), float(stock["weight_kg"]))
    return Drinkers(
        mob.name, outlet, paddock, name, str(row["species"]), kind, walk_m,
        float(holding.paddocks.at[paddock, "area_ha"]),
        float(stock["head"] + stock["young_head"]),
        float(stock["daily_demand_l"]),
        float(row["mobile_hours" if kind == "mobile" else "fixed_hours"]),
        float(row["fixed_hours"]),
        _for_the_lightest(traits, mob, str(row["species"]), trough),
    )  # fmt: skip


def _when_it_needs_most(demand: Demand, mob: str, paddock: int) -> pd.Series:
    """Return the mob in that month of those spent in the paddock in which it needs most."""
    if demand.calendar.empty:
        return demand.mobs.loc[mob]
    months = demand.calendar[demand.calendar["mob"] == mob]
    there = months[[paddock in paddocks for paddocks in months["paddocks"]]]
    return there.loc[there["daily_demand_l"].idxmax()]


def _for_the_lightest(traits: Traits, mob: Mob, species: str, trough: TroughSettings) -> Traits:
    """Put in the rim that suits the lightest of the mob all year, and the rate that is set."""
    settings = mob.settings
    states = [(settings.lactating, settings.weight_kg)]
    for period in settings.period:
        lactating = settings.lactating if period.lactating is None else period.lactating
        states.append((lactating, period.weight_kg or settings.weight_kg))
        if period.young_weight_kg is not None:
            states.append((False, period.young_weight_kg))
    rims_m = [traits_of(species, *state).highest_rim_m for state in states]
    return replace(
        traits,
        drinking_rate_l_min=trough.drinking_rate_l_min or traits.drinking_rate_l_min,
        highest_rim_m=min(traits.highest_rim_m, *rims_m),
    )
