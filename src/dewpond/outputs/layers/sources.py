"""Sources with what each was found to give, and the tank and pump at the one in use."""

from __future__ import annotations

from collections.abc import Mapping

import geopandas as gpd
import numpy as np
import shapely

from dewpond.base.model import Plan, Scheme
from dewpond.outputs.layers.columns import FLOW, LEVEL, LITRES, MONEY, POWER, figures, table, texts

_TANK = {"volume_l": LITRES, "reserve_l": LITRES, "balance_l": LITRES, "fill_l_min": FLOW}
_PUMP = {
    "flow_l_min": FLOW,
    "head_m": LEVEL,
    "power_w": POWER,
    "suction_lift_m": LEVEL,
    "suction_limit_m": LEVEL,
    "panel_w": POWER,
    "storage_l": LITRES,
}


def sources(plan: Plan) -> gpd.GeoDataFrame:
    """Return every source; those that were tried with the figures of their scheme."""
    given = plan.holding.sources
    points = [shapely.Point(source.easting_m, source.northing_m) for source in given]
    easting, northing = np.array([[p.x, p.y] for p in points], dtype=float).reshape(-1, 2).T
    surface = plan.holding.surface.heights_m(easting, northing)
    tried = {scheme.network.source: scheme for scheme in plan.schemes}
    rows = [_figures(tried.get(number)) for number in range(len(given))]
    # The network measured the ground at its source; elsewhere the surface tells.
    ground = [
        row.pop("ground_level_m", float(level)) for row, level in zip(rows, surface, strict=True)
    ]
    decimals = {
        "water_level_m": LEVEL,
        "design_flow_l_min": FLOW,
        "level_at_design_flow_m": LEVEL,
        "pump_head_m": LEVEL,
        "daily_volume_l": LITRES,
        "scheme_cost": MONEY,
    }
    return table(
        plan,
        {
            "name": texts([source.name for source in given]),
            "source_kind": texts([source.settings.kind for source in given]),
            "feeds_scheme": np.array(
                [number == plan.network.source for number in range(len(given))], dtype=bool
            ),
            "ground_level_m": figures(ground, LEVEL),
            **{
                name: figures([row.get(name, np.nan) for row in rows], places)
                for name, places in decimals.items()
            },
            "falls_short": texts([_missed(tried.get(number)) for number in range(len(given))]),
            "water_level_reason": texts([_reason(tried.get(n)) for n in range(len(given))]),
        },
        points,
    )


def tanks(plan: Plan) -> gpd.GeoDataFrame:
    """Return the tank of the scheme, if it takes one."""
    return _at_source(plan, "tank", plan.scheme.supply.tank, _TANK)


def pumps(plan: Plan) -> gpd.GeoDataFrame:
    """Return the pump of the scheme, if it takes one."""
    return _at_source(plan, "pump", plan.scheme.supply.pump, _PUMP)


def _at_source(
    plan: Plan, kind: str, found: Mapping[str, float], decimals: Mapping[str, int]
) -> gpd.GeoDataFrame:
    """Return one feature at the source in use, none where there are no figures."""
    source = plan.holding.sources[plan.network.source]
    rows = [found] if found else []
    return table(
        plan,
        {
            "name": texts([f"{kind} at {source.name}" for _ in rows]),
            "source": texts([source.name for _ in rows]),
            **{
                name: figures([row.get(name, np.nan) for row in rows], places)
                for name, places in decimals.items()
            },
        },
        [shapely.Point(source.easting_m, source.northing_m) for _ in rows],
    )


def _figures(scheme: Scheme | None) -> dict[str, float]:
    """Return the figures of a source as it was tried; none where it was not."""
    if scheme is None:
        return {}
    flow, intake, nodes = scheme.flows.total_l_min, scheme.intake, scheme.network.nodes
    own = nodes["ground_level_m"][nodes["kind"] == "source"]
    return {
        **({"ground_level_m": float(own.iloc[0])} if len(own) else {}),
        "water_level_m": scheme.heads.source_level_m,
        "design_flow_l_min": flow,
        "level_at_design_flow_m": float(intake.level_at_m(flow)),
        "pump_head_m": intake.pump_head_m,
        "daily_volume_l": intake.daily_volume_l,
        "scheme_cost": float(scheme.appraisal.totals["cost"]),
    }


def _missed(scheme: Scheme | None) -> tuple[str, ...] | None:
    if scheme is None:
        return None
    return tuple(v.requirement for v in scheme.appraisal.verdicts if not v.met)


def _reason(scheme: Scheme | None) -> str | None:
    return None if scheme is None else scheme.heads.source_level_reason
