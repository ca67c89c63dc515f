"""Cut paddocks into breaks and bring water into each."""

from __future__ import annotations

from dewpond.base.errors import Fault, InputError, nearest_name
from dewpond.base.model import Breaks, Candidates, Demand, Holding, Network
from dewpond.base.settings import BreaksSettings, DesignSettings
from dewpond.steps.breaks.divide import Division, divide_by_hose, divide_by_lane
from dewpond.steps.breaks.tables import gather
from dewpond.steps.breaks.water import Limits, Outlet


def cut_breaks(
    holding: Holding,
    demand: Demand,
    candidates: Candidates,
    network: Network,
    settings: BreaksSettings | None,
    design: DesignSettings,
) -> Breaks:
    """Cut paddocks into breaks of equal area by temporary fence, and bring water into each.

    Only outlets joined to the source serve. A break that cannot have water within the longest
    hose and the walking limit stays in the result with the reason.

    Parameters
    ----------
    holding : Holding
    demand : Demand
    candidates : Candidates
        For where the stock of each paddock stand to drink at an outlet.
    network : Network
    settings : BreaksSettings or None
        Without it nothing is cut and the result is empty.
    design : DesignSettings

    Returns
    -------
    Breaks

    Raises
    ------
    InputError
        When the settings name a paddock that is not there or that nothing grazes.
    """
    if settings is None:
        return gather(holding, demand, [], BreaksSettings(moves=1))
    way = settings.water_by or ("hose" if design.trough == "mobile" else "lane")
    limits = Limits(design.walk_limit_m, settings.hose_m if way == "hose" else 0.0)
    divide = divide_by_hose if way == "hose" else divide_by_lane
    divisions = []
    for paddock in _chosen(holding, settings):
        shape = holding.paddocks.geometry.loc[paddock]
        outlets = _outlets(candidates, network, paddock)
        options = divide(paddock, shape, outlets, limits, settings, holding.surface)
        divisions.append(min(options, key=Division.rank).from_water())
    return gather(holding, demand, divisions, settings)


def _chosen(holding: Holding, settings: BreaksSettings) -> list[int]:
    """Return the ids of the paddocks to cut, ascending."""
    if settings.paddocks == "all":
        return list(holding.grazed)
    ids = {str(holding.paddocks.at[paddock, "name"]): paddock for paddock in holding.grazed}
    faults = [
        Fault(
            "[breaks], paddocks",
            "no grazed paddock has that name",
            found=f'"{name}"',
            remedy=nearest_name(name, ids),
        )
        for name in settings.paddocks
        if name not in ids
    ]
    if faults:
        raise InputError(faults)
    return sorted({ids[name] for name in settings.paddocks})


def _outlets(candidates: Candidates, network: Network, paddock: int) -> list[Outlet]:
    """Return the outlets with pipe that a paddock can use, in the order of the network."""
    access = candidates.access[candidates.access["paddock"] == paddock].set_index("site")
    nodes = network.nodes[network.nodes["kind"] == "outlet"]
    return [
        Outlet(
            str(node),
            float(access.at[site, "easting_m"]),
            float(access.at[site, "northing_m"]),
        )
        for node, site in nodes["site"].items()
        if site in access.index
    ]
