"""What the scheme asks of its source: flow, level and litres, and less of each for less stock."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from dewpond.base.model import Delivery, Demand, Flows, Heads, Intake, Network, Sizes, Watering
from dewpond.base.sources import SERVICE_PIPE_EXPONENT
from dewpond.base.surface import FloatArray

DELIVERED_SHARE = 0.995
"""Share of its design flow with which an outlet counts as supplied: rounding of the solution."""

HEAD_MARGIN_M = 0.005
"""Head below which a lack is rounding [m]."""

FLOW_MARGIN_L_MIN = 0.005
"""Flow below which a lack is rounding [L/min]."""


@dataclass(frozen=True, eq=False)
class Need:
    """What is asked of the source on the peak day.

    Attributes
    ----------
    flow_l_min : float
        Design flow leaving the source.
    daily_l : float
    still_level_m : float
        Level at the source that every place would need if no friction were lost [m].
    level_m : float
        Level at the source that the pipe as sized needs at the design flow [m].
    where : str
        The place that asks for it.
    mobs : DataFrame
        Row label = mob; columns ``head``, ``flow_l_min`` (its share of the design flow),
        ``daily_l`` (its share of the day), ``fixed_flow_l_min`` (from fixed troughs),
        ``mobile`` (drinks from a mobile trough somewhere),
        ``litres_head_day``.
    """

    flow_l_min: float
    daily_l: float
    still_level_m: float
    level_m: float
    where: str
    mobs: pd.DataFrame

    @property
    def slower(self) -> pd.DataFrame:
        """Mobs that would draw less from fixed troughs than from their mobile ones."""
        less = self.mobs["fixed_flow_l_min"] < self.mobs["flow_l_min"]
        return self.mobs[self.mobs["mobile"] & less]

    @property
    def fixed_flow_l_min(self) -> float:
        """Design flow with fixed troughs in place of mobile ones [L/min]."""
        saved = self.slower["flow_l_min"] - self.slower["fixed_flow_l_min"]
        return self.flow_l_min - float(saved.sum())

    def level_at_share_m(self, share: npt.ArrayLike) -> FloatArray:
        """Return the level needed at a share of the design flow [m].

        Friction falls with flow to the power 1.85 (Hazen-Williams), what is lost besides with
        its square: 1.85 for both errs on the safe side.
        """
        friction_m = max(0.0, self.level_m - self.still_level_m)
        less = np.asarray(share, float) ** SERVICE_PIPE_EXPONENT
        return np.asarray(self.still_level_m + friction_m * less)


def find_need(
    demand: Demand,
    network: Network,
    heads: Heads,
    watering: Watering,
    flows: Flows,
    intake: Intake,
    sizes: Sizes,
    delivery: Delivery,
) -> Need:
    """Gather what the scheme asks of its source."""
    had_m = float(intake.level_at_m(flows.total_l_min))
    lack_m, where = _lack(heads, watering, had_m, sizes)
    worst, flow, wanted = delivered_alone(delivery, watering)
    if worst and flow < DELIVERED_SHARE * wanted:
        # A valve passes a share of its flow under the square of that share of its head.
        more_m = (1.0 - (flow / wanted) ** 2) * float(watering.outlets.at[worst, "valve_head_m"])
        lack_m, where = max((lack_m, where), (more_m, worst))
    level_m = had_m + lack_m
    still_m = min(_still_need(network, heads), level_m)
    return Need(
        flows.total_l_min, demand.daily_demand_l, still_m, level_m, where, _mobs(demand, watering)
    )


def delivered_alone(delivery: Delivery, watering: Watering) -> tuple[str, float, float]:
    """Return the outlet that gets the least share of its design flow: place, flow, design flow.

    With only that outlet open; the place is empty where nothing is known.
    """
    return _least_share(delivery, watering, "alone_l_min")


def delivered_together(delivery: Delivery, watering: Watering) -> tuple[str, float, float]:
    """Return the same in the worst combination of mobs, every valve wide open."""
    return _least_share(delivery, watering, "available_flow_l_min")


def _least_share(delivery: Delivery, watering: Watering, column: str) -> tuple[str, float, float]:
    if delivery.outlets.empty:
        return "", float("nan"), float("nan")
    got = delivery.outlets[column].astype(float).dropna()
    wanted = watering.outlets["design_flow_l_min"].astype(float).reindex(got.index)
    share = (got / wanted)[wanted > 0]
    if share.empty:
        return "", float("nan"), float("nan")
    worst = str(share.idxmin())
    return worst, float(got[worst]), float(wanted[worst])


def _still_need(network: Network, heads: Heads) -> float:
    """Return the highest ground that water must pass [m]."""
    outlets = network.nodes.index[network.nodes["kind"] == "outlet"]
    levels = [heads.nodes.loc[outlets, "ground_level_m"].to_numpy(float)]
    levels += [section.ground_level_m for section in heads.sections.values()]
    known = np.concatenate(levels)
    known = known[np.isfinite(known)]
    return float(known.max()) if known.size else float("-inf")


def _lack(heads: Heads, watering: Watering, had_m: float, sizes: Sizes) -> tuple[float, str]:
    """Return by how much the level at the source is too low, negative for to spare, and where."""
    short = [
        (item.limit - item.figure, item.where)
        for item in sizes.shortfalls
        if item.unit == "m"
        and item.figure < item.limit  # a class is exceeded, not fallen short of
    ]
    found = [item for item in short if np.isfinite(item[0])]
    kept = sizes.outlets.dropna()
    if not kept.empty:
        lack = (kept["needed_head_m"] - kept["residual_head_m"]).astype(float)
        found.append((float(lack.max()), str(lack.idxmax())))
    if not found and len(watering.outlets):
        # No pipe is chosen and no head is said to fail: the valves alone set the need.
        ground = heads.nodes.loc[watering.outlets.index, "ground_level_m"]
        need = ground + watering.outlets["valve_head_m"]
        found.append((float(need.max()) - had_m, str(need.idxmax())))
    lack_m, where = max(found) if found else (float("-inf"), "")
    # Of several outlets the worst stands first; a place along a pipe is kept whole.
    return lack_m, where if " along " in where else where.split(", ")[0]


def _mobs(demand: Demand, watering: Watering) -> pd.DataFrame:
    mobs = demand.mobs
    uses = watering.uses
    flow = uses.groupby("mob", sort=False)["design_flow_l_min"].max() if len(uses) else pd.Series()
    flow_l_min = pd.Series(flow, dtype=float).reindex(mobs.index).fillna(0.0)
    mobile = set(uses.loc[uses["trough"] == "mobile", "mob"]) if len(uses) else set()
    by_hours = mobs["daily_demand_l"] / (mobs["fixed_hours"] * 60.0)
    return pd.DataFrame(
        {
            "head": mobs["head"].astype(int),
            "flow_l_min": flow_l_min,
            "daily_l": _daily(demand),
            "fixed_flow_l_min": np.minimum(by_hours, flow_l_min),
            "mobile": [name in mobile for name in mobs.index],
            "litres_head_day": mobs["daily_demand_l"] / mobs["head"],
        },
        index=mobs.index,
    )


def _daily(demand: Demand) -> pd.Series:
    """Return what each mob drinks on the peak day of the holding [L]."""
    if demand.calendar.empty:
        return demand.mobs["daily_demand_l"].astype(float)
    peak = demand.calendar[demand.calendar["month"] == demand.peak_month].set_index("mob")
    return peak["daily_demand_l"].reindex(demand.mobs.index).fillna(0.0).astype(float)
