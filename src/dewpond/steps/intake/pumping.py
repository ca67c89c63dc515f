"""A pump that pushes water through the scheme: its curve on top of the water it draws."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dewpond.base.filling import pump_points
from dewpond.base.model import Heads, Network, Source
from dewpond.base.pumps import single_point_curve
from dewpond.base.settings import PipeSettings, SupplySettings
from dewpond.base.settings.water import PumpSettings
from dewpond.base.sources import SourceCurve, allowed_friction_m
from dewpond.base.surface import FloatArray
from dewpond.base.units import m3_s_from_l_min
from dewpond.base.words import words

_POINTS = 41
_LEAST_HEAD_M = 1.0  # a pump asked for less is not needed


@dataclass(frozen=True, eq=False)
class Lifted:
    """Level that a pump makes against flow; `head_m` is what it adds at design flow."""

    flow_l_min: FloatArray
    level_m: FloatArray
    head_m: float
    reason: str
    warnings: tuple[str, ...] = ()


def lift_by_pump(
    source: Source,
    curve: SourceCurve,
    heads: Heads,
    network: Network,
    total_l_min: float,
    supply: SupplySettings,
    pipe: PipeSettings,
) -> Lifted:
    """Return the level made by the pump of a source against flow.

    A given curve is read between its points. One sized from scratch passes its design point by
    the single-point rule: 4/3 of the design head at no flow, none at twice the design flow
    (EPA/600/R-20/133). The design head is `head_m` of the pump, else the lift to the highest
    need, friction allowed for by length.
    """
    pump = source.settings.pump
    if pump is None:
        raise ValueError(f"{source.name} has no pump")
    warnings: tuple[str, ...] = ()
    if pump.power == "solar":
        warnings = (words("intake.pumping.solar_without_tank", name=source.name),)
    if pump.curve_flow_l_min:
        flow, head = pump_points(pump)
        added = float(np.interp(total_l_min, flow, head))
        reason = words("intake.pumping.pump_curve_adds", added=added, total_l_min=total_l_min)
        grid = _with_design(np.union1d(flow, np.linspace(0.0, flow[-1], _POINTS)), total_l_min)
        return Lifted(
            grid, curve.level_at_m(grid) + np.interp(grid, flow, head), added, reason, warnings
        )
    need_m, rule = design_head(pump, curve, heads, network, total_l_min, supply, pipe)
    if need_m < _LEAST_HEAD_M or total_l_min <= 0.0:
        grid = np.linspace(0.0, max(total_l_min, 1.0), _POINTS)
        reason = words("intake.pumping.no_pump_needed", rule=rule)
        return Lifted(grid, curve.level_at_m(grid), 0.0, reason, warnings)
    design = single_point_curve(float(m3_s_from_l_min(total_l_min)), need_m)
    grid = np.linspace(0.0, 2.0 * total_l_min, _POINTS)
    level = curve.level_at_m(grid) + design.head_m(m3_s_from_l_min(grid))
    reason = words(
        "intake.pumping.pump_from_scratch", total_l_min=total_l_min, need_m=need_m, rule=rule
    )
    return Lifted(grid, level, need_m, reason, warnings)


def design_head(
    pump: PumpSettings,
    curve: SourceCurve,
    heads: Heads,
    network: Network,
    total_l_min: float,
    supply: SupplySettings,
    pipe: PipeSettings,
) -> tuple[float, str]:
    """Return the head for which a pump is sized [m], and the rule in words."""
    if pump.head_m is not None:
        return pump.head_m, words("intake.pumping.head_given")
    water_m = float(curve.level_at_m(total_l_min))
    allowance = supply.friction_allowance_m_per_100_m
    needs = _needs(heads, network, supply, pipe)
    if not needs.size:
        return 0.0, words("intake.pumping.no_flow_asked")
    highest_m = float(needs.max())
    rule = words(
        "intake.pumping.pump_head_rule",
        water_m=water_m,
        highest_m=highest_m,
        outlet_head_m=supply.outlet_head_m,
        allowance=allowance,
    )
    return highest_m - water_m, rule


def _needs(
    heads: Heads, network: Network, supply: SupplySettings, pipe: PipeSettings
) -> FloatArray:
    """Return the level at the source that each place on the pipe asks for [m].

    Ground, the head to keep there, and friction allowed for by the length of pipe from the source.
    """
    found = [np.array([])]
    kind = network.nodes["kind"]
    for name, pipe_row in network.pipes.iterrows():
        section = heads.sections[str(name)]
        friction = allowed_friction_m(supply, section.distance_m)
        along = section.ground_level_m + friction + pipe.summit_margin_m
        found.append(along[np.isfinite(along)])
        if kind[pipe_row["to_node"]] == "outlet":
            at_end = heads.nodes.at[pipe_row["to_node"], "ground_level_m"]
            found.append(np.array([at_end + friction[-1] + supply.outlet_head_m]))
    needs = np.concatenate(found)
    return np.asarray(needs[np.isfinite(needs)])


def _with_design(flow: FloatArray, total_l_min: float) -> FloatArray:
    return np.union1d(flow, [total_l_min]) if total_l_min <= flow[-1] else flow
