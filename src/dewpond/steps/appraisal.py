"""What the plan amounts to: totals, and one verdict for each requirement."""

from __future__ import annotations

import numpy as np

from dewpond.base.model import (
    Appraisal,
    Demand,
    Heads,
    Holding,
    Network,
    Reach,
    Siting,
    Verdict,
)
from dewpond.base.settings import DesignSettings, PricesSettings
from dewpond.base.units import SQUARE_METRES_PER_HECTARE

# Coverage is counted on cells; a share this close to one is rounding, not dry ground.
_WHOLE_SHARE = 1 - 1e-9


def appraise(
    holding: Holding,
    demand: Demand,
    reach: Reach,
    siting: Siting,
    network: Network,
    heads: Heads,
    design: DesignSettings,
    prices: PricesSettings,
) -> Appraisal:
    """Add up the plan and hold each requirement against its limit.

    Parameters
    ----------
    holding, demand, reach, siting, network, heads
        Values of the steps before.
    design : DesignSettings
        Gives the walking limit [m].
    prices : PricesSettings
        Price of an outlet; pipe and crossings are priced in the network.

    Returns
    -------
    Appraisal
        Totals with units in their names, and the verdicts: ground within the walking limit,
        outlets joined to the source, static head at every outlet.
    """
    area_m2 = reach.cells["area_m2"].to_numpy()
    covered = siting.nearest_site >= 0
    covered_share = float(area_m2[covered].sum() / area_m2.sum()) if area_m2.size else 1.0
    outlets = int((network.nodes["kind"] == "outlet").sum())
    totals = {
        "outlets": outlets,
        "pipe_m": float(network.pipes["length_m"].sum()),
        "cost": float(network.pipes["cost"].sum()) + outlets * prices.outlet_each,
        "worst_walk_m": float(np.nanmax(siting.walk_m)) if covered.any() else float("nan"),
        "mean_walk_m": float(np.average(siting.walk_m[covered], weights=area_m2[covered]))
        if covered.any()
        else float("nan"),
        "covered_share": covered_share,
        "grazed_area_ha": float(area_m2.sum()) / SQUARE_METRES_PER_HECTARE,
        "daily_demand_l": demand.daily_demand_l,
    }
    verdicts = (
        _walking(holding, reach, siting, covered_share, design),
        _joined(siting, network),
        _static_head(network, heads),
    )
    return Appraisal(totals, verdicts)


def _walking(
    holding: Holding, reach: Reach, siting: Siting, covered_share: float, design: DesignSettings
) -> Verdict:
    dry = reach.cells[siting.nearest_site < 0]
    ids = sorted(dry["paddock"].unique())
    names = [str(holding.paddocks.at[paddock, "name"]) for paddock in ids]
    dry_ha = float(dry["area_m2"].sum()) / SQUARE_METRES_PER_HECTARE
    return Verdict(
        requirement=f"Grazed ground within {design.walk_limit_m:g} m of water",
        figure=100 * covered_share,
        limit=100.0,
        unit="%",
        met=covered_share >= _WHOLE_SHARE,
        where=", ".join(names),
        remedy=""
        if not names
        else f"{dry_ha:.2f} ha stay out of reach: allow sites there, lengthen the limit or "
        "leave that ground ungrazed",
    )


def _joined(siting: Siting, network: Network) -> Verdict:
    apart = len(network.unconnected)
    return Verdict(
        requirement="Outlets joined to the source by pipe",
        figure=float(len(siting.sites) - apart),
        limit=float(len(siting.sites)),
        unit="outlets",
        met=apart == 0,
        remedy="" if apart == 0 else "allow pipe across open ground, or add a way in [features]",
    )


def _static_head(network: Network, heads: Heads) -> Verdict:
    outlets = network.nodes.index[network.nodes["kind"] == "outlet"]
    static_head_m = heads.nodes.loc[outlets, "static_head_m"]
    lowest_m = float(static_head_m.min()) if len(outlets) else float("nan")
    above = static_head_m.index[static_head_m <= 0]
    return Verdict(
        requirement="Still water at the source stands above every outlet",
        figure=lowest_m,
        limit=0.0,
        unit="m",
        met=len(above) == 0,
        where=", ".join(above),
        remedy=""
        if len(above) == 0
        else f"raise the water level at the source by at least {-lowest_m:.1f} m, "
        "by a higher tank or a pump, or take another source",
    )
