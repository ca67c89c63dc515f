"""The falling curve of total head at the source of a scheme, before pipe is sized."""

from __future__ import annotations

import numpy as np

from dewpond.base.filling import Fill, filling_of, tank_level_m
from dewpond.base.model import Flows, Heads, Holding, Intake, Network, Source
from dewpond.base.settings import PipeSettings, SupplySettings
from dewpond.base.sources import SourceCurve, pump_place, source_curve
from dewpond.base.surface import FloatArray
from dewpond.base.words import words
from dewpond.steps.intake.pumping import lift_by_pump

# The level of a main is drawn as straight pieces between so many points: of a concave curve, so
# always a little low; 64 pieces of it are within 1/20 000 of its fall.
_POINTS = 65
# The curve is drawn this far past the design flow, for valves that let through more than it.
_PAST_DESIGN = 1.5


def measure_intake(
    holding: Holding,
    network: Network,
    heads: Heads,
    flows: Flows,
    supply: SupplySettings,
    pipe: PipeSettings,
) -> Intake:
    """Work out what the source of a scheme gives, before its pipe is sized.

    Parameters
    ----------
    holding : Holding
    network : Network
        Says which source feeds the scheme.
    heads : Heads
        Ground along the pipes: a pump sized from scratch must lift over it.
    flows : Flows
        Design flow leaving the source [L/min], for which such a pump is chosen.
    supply : SupplySettings
    pipe : PipeSettings
        Head to keep over the ground along a pipe.

    Returns
    -------
    Intake
        A main falls from still water by flow to the power 1.85, through the flow that its timed
        bucket gave with no pressure left, cut to a dry summer. A tank, spring or stream stands
        at one level whatever is drawn: its yield is judged by flow and volume, not by level. A
        pump adds the head of its curve, given or sized from scratch; the bowser and whatever
        else fills a tank do not change the tank's level.

    Raises
    ------
    InputError
        A bucket filled above the level that the main's pressure reaches; ground at the source
        that is not known.
    """
    source = holding.sources[network.source]
    fill = filling_of(holding, source, supply)
    if fill is None:
        curve = source_curve(holding, source, supply)
        daily_volume_l, reason, warnings = curve.daily_volume_l, curve.reason, curve.warnings
    else:
        curve, reason, warnings = _from_tank(holding, source, fill)
        daily_volume_l = fill.daily_volume_l
    flow = _flows(curve, flows.total_l_min)
    level = curve.level_at_m(flow)
    daily_volume_l = float("inf") if np.isnan(daily_volume_l) else daily_volume_l
    if pump_place(source) == "direct":
        lifted = lift_by_pump(source, curve, heads, network, flows.total_l_min, supply, pipe)
        return Intake(
            lifted.flow_l_min, lifted.level_m, daily_volume_l, True, lifted.head_m,
            f"{reason} {lifted.reason}", (*warnings, *lifted.warnings),
        )  # fmt: skip
    lift_m = np.nan
    if fill is not None and fill.pump is not None:
        lift_m = fill.lift_m(fill.flow_l_min if np.isfinite(fill.flow_l_min) else 0.0)
    return Intake(flow, level, daily_volume_l, False, lift_m, reason, warnings)


def _from_tank(
    holding: Holding, source: Source, fill: Fill
) -> tuple[SourceCurve, str, tuple[str, ...]]:
    """Return the level of the tank as a curve that does not fall, and how it comes about."""
    level_m = tank_level_m(holding, source)
    reason = words("intake.measure.tank_level", name=source.name, level_m=level_m)
    warnings = fill.curve.warnings
    if source.settings.kind == "header_tank" and fill.fed_by == source.name:
        if np.isinf(fill.daily_volume_l):
            warnings += (words("intake.measure.filling_not_given", name=source.name),)
    elif fill.pump is not None:
        reason += words("intake.measure.filled_by_pump", fed_by=fill.fed_by, hours=fill.hours)
    else:
        flow = (
            words("intake.measure.flow", flow_l_min=fill.flow_l_min)
            if np.isfinite(fill.flow_l_min)
            else "its yield"
        )
        reason += words(
            "intake.measure.filled_by_source", fed_by=fill.fed_by, flow=flow, hours=fill.hours
        )
    flat = SourceCurve(level_m, level_m, np.inf, fill.daily_volume_l, False, reason)
    return flat, reason, warnings


def _flows(curve: SourceCurve, total_l_min: float) -> FloatArray:
    """Return the flows at which the level is given [L/min], ascending from 0."""
    most = curve.most_flow_l_min if np.isfinite(curve.most_flow_l_min) else 0.0
    if not curve.falls:
        return np.array([0.0, max(most, total_l_min, 1.0)])
    within = np.linspace(0.0, most, _POINTS)
    end = _PAST_DESIGN * total_l_min
    if end <= most:
        return within
    return np.concatenate([within, np.linspace(most, end, _POINTS)[1:]])
