"""How a tank is filled: by pressure, by a pump or by whatever runs into it, and how fast."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from dewpond.base.model.holding import Holding, Source
from dewpond.base.pumps import fitted_curve
from dewpond.base.settings.water import PumpSettings, SupplySettings
from dewpond.base.sources import (
    SourceCurve,
    allowed_friction_m,
    filling_hours,
    has_tank,
    pump_place,
    source_curve,
    source_ground_m,
    source_named,
)
from dewpond.base.surface import FloatArray
from dewpond.base.units import MINUTES_PER_HOUR, m3_s_from_l_min


@dataclass(frozen=True)
class Fill:
    """What runs into a tank.

    Attributes
    ----------
    curve : SourceCurve
        Of the source that feeds it.
    target_level_m : float
        Level to which the water must be brought, with the allowance for friction on the way [m].
    flow_l_min : float
        Flow while it fills [L/min]; inf where nothing limits it, NaN where it is not known.
    hours : float
        Hours a day in which it fills.
    daily_volume_l : float
    pump : PumpSettings or None
        Pump that fills it.
    fed_by : str
        Name of the source that feeds it.
    """

    curve: SourceCurve
    target_level_m: float
    flow_l_min: float
    hours: float
    daily_volume_l: float
    pump: PumpSettings | None
    fed_by: str

    def lift_m(self, flow_l_min: float) -> float:
        """Return the head that a pump must add to fill at a flow [m]; negative is to spare."""
        return self.target_level_m - float(self.curve.level_at_m(flow_l_min))


def pump_points(pump: PumpSettings) -> tuple[FloatArray, FloatArray]:
    """Return flow [L/min] and head [m] along a given pump curve, from no flow on.

    The points are the maker's; head at no flow, where it is not among them, is that of the
    parabola through them and at least the first head.
    """
    flow = np.asarray(pump.curve_flow_l_min, float)
    head = np.asarray(pump.curve_head_m, float)
    if flow[0] > 0.0:
        shutoff = fitted_curve(m3_s_from_l_min(flow), head).shutoff_head_m
        flow = np.insert(flow, 0, 0.0)
        head = np.insert(head, 0, max(shutoff, head[0]))
    return flow, head


def tank_level_m(holding: Holding, source: Source) -> float:
    """Return the level of the water in a tank at a source [m]: the pressure of a main is lost."""
    ground_m = source_ground_m(holding, source)
    return ground_m + (source.settings.height_above_ground_m or 0.0)


def filling_of(holding: Holding, source: Source, supply: SupplySettings) -> Fill | None:
    """Return how the tank at a source is filled, None where the scheme draws without a tank.

    The pipe that fills a tank from elsewhere is not sized: friction is allowed for by the straight
    distance over the ground.
    """
    if not has_tank(source):
        return None
    level_m = tank_level_m(holding, source)
    own = source_curve(holding, source, supply)
    hours = filling_hours(source, supply)
    feeder, pump, distance_m = source, None, 0.0
    if source.settings.fed_by is not None:
        feeder = source_named(holding, source.settings.fed_by)
        pump = feeder.settings.pump
        distance_m = float(
            np.hypot(feeder.easting_m - source.easting_m, feeder.northing_m - source.northing_m)
        )
        hours = min(hours, filling_hours(feeder, supply))
    elif pump_place(source) == "into the tank":
        pump = source.settings.pump
    curve = own if feeder is source else source_curve(holding, feeder, supply)
    target_m = level_m + float(allowed_friction_m(supply, distance_m))
    flow = _filling_flow(curve, pump, target_m) if feeder is not source or pump else _own(source)
    if source.settings.kind == "mains":
        flow = curve.flow_at_l_min(level_m)
    by_flow = flow * hours * MINUTES_PER_HOUR
    limits = [curve.daily_volume_l, own.daily_volume_l, by_flow]
    known = [limit for limit in limits if not np.isnan(limit)]
    daily = min(known) if known else float("nan")
    return Fill(curve, target_m, flow, hours, daily, pump, feeder.name)


def _own(source: Source) -> float:
    """Return what runs into a tank by itself [L/min]."""
    settings = source.settings
    if settings.yield_l_min is not None:
        return settings.yield_l_min
    return np.inf if settings.kind in ("header_tank", "bowser") else float("nan")


def _filling_flow(curve: SourceCurve, pump: PumpSettings | None, target_m: float) -> float:
    """Return the flow that reaches a level, through a pump where there is one [L/min]."""
    if pump is None:
        return curve.flow_at_l_min(target_m)
    if not pump.curve_flow_l_min:
        return curve.most_flow_l_min  # sized from scratch for what is wanted
    flow, head = pump_points(pump)

    def spare_m(at_l_min: float) -> float:
        level = float(curve.level_at_m(at_l_min))
        return level + float(np.interp(at_l_min, flow, head)) - target_m

    most = curve.most_flow_l_min
    end = float(flow[-1] if np.isnan(most) else min(flow[-1], most))
    if spare_m(0.0) <= 0.0:
        return 0.0
    return end if spare_m(end) >= 0.0 else float(brentq(spare_m, 0.0, end))
