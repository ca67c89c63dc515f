"""Figures of the whole holding, units in their names."""

from __future__ import annotations

import numpy as np

from dewpond.base.model import Demand, Flows, Layout, Network, Reach, Siting, Sizes
from dewpond.base.units import SQUARE_METRES_PER_HECTARE


def total_figures(
    demand: Demand,
    reach: Reach,
    layout: Layout,
    siting: Siting,
    network: Network,
    flows: Flows,
    sizes: Sizes,
    laying_cost: float,
) -> dict[str, float]:
    """Return the totals; walks are NaN where no ground is covered, as is a share of no ground.

    Cost is outlets, laying with crossings, and pipe by its size; a tank, a pump and the fittings
    of the schedule are not in it.
    """
    area_m2 = reach.cells["area_m2"].to_numpy()
    covered = siting.nearest_site >= 0
    walk_m, weight = siting.walk_m[covered], area_m2[covered]
    outlets = int((network.nodes["kind"] == "outlet").sum())
    pipe_cost = float(np.nansum(sizes.pipes["pipe_cost"]))
    return {
        "outlets": outlets,
        "pipe_m": float(network.pipes["length_m"].sum()),
        "cost": layout.outlet_cost + laying_cost + pipe_cost,
        "outlet_cost": layout.outlet_cost,
        "laying_cost": laying_cost,
        "pipe_cost": pipe_cost,
        "worst_walk_m": float(walk_m.max()) if walk_m.size else float("nan"),
        "mean_walk_m": float(np.average(walk_m, weights=weight)) if walk_m.size else float("nan"),
        "covered_share": float(weight.sum() / area_m2.sum()) if area_m2.size else float("nan"),
        "grazed_area_ha": float(area_m2.sum()) / SQUARE_METRES_PER_HECTARE,
        "daily_demand_l": demand.daily_demand_l,
        "design_flow_l_min": flows.total_l_min,
    }
