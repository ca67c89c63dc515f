"""What a source gives by itself, before any pump: level against flow, and litres a day."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from dewpond.base.errors import Fault, InputError
from dewpond.base.model.holding import Holding, Source
from dewpond.base.settings.water import SupplySettings
from dewpond.base.still_water import ground_level, still_water
from dewpond.base.storage import STEPS_A_DAY, hours_share
from dewpond.base.surface import FloatArray
from dewpond.base.units import MINUTES_PER_HOUR
from dewpond.base.words import words

SERVICE_PIPE_EXPONENT = 1.85
"""Power of flow by which pressure of a main falls: friction in its service pipe.

1.852 in Hazen-Williams (EPA/600/R-20/133, chapter 3); 1.75 in a smooth and 2 in a rough pipe.
"""

HOURS_A_DAY = 24.0

PumpPlace = Literal["none", "direct", "into the tank"]


@dataclass(frozen=True)
class SourceCurve:
    """Level of a source against the flow taken from it; the level falls by friction alone.

    Attributes
    ----------
    still_level_m : float
        Total head with no flow [m, datum of the elevation].
    tap_level_m : float
        Level of the water or tap itself, at which no pressure is left [m].
    most_flow_l_min : float
        Flow at the tap with no pressure left, or the yield [L/min]; inf where nothing limits it,
        NaN where it was not measured.
    daily_volume_l : float
        Litres a day; inf where nothing limits it, NaN where it was not measured.
    falls : bool
        Whether the level falls with the flow (a main), rather than stand still up to the yield.
    reason : str
    warnings : tuple of str
    """

    still_level_m: float
    tap_level_m: float
    most_flow_l_min: float
    daily_volume_l: float
    falls: bool
    reason: str
    warnings: tuple[str, ...] = ()

    def level_at_m(self, flow_l_min: npt.ArrayLike) -> FloatArray:
        """Return the level under a flow [m]: H(Q) = H0 - (H0 - tap) (Q / Qmost)^1.85."""
        flow = np.asarray(flow_l_min, float)
        if not self.falls:
            return np.full(flow.shape, self.still_level_m)
        drop_m = self.still_level_m - self.tap_level_m
        share = flow / self.most_flow_l_min
        return np.asarray(self.still_level_m - drop_m * share**SERVICE_PIPE_EXPONENT)

    def flow_at_l_min(self, level_m: float) -> float:
        """Return the flow that still reaches a level [L/min], 0 for one above still water."""
        if level_m > self.still_level_m:
            return 0.0
        if not self.falls or level_m <= self.tap_level_m:
            return self.most_flow_l_min
        share = (self.still_level_m - level_m) / (self.still_level_m - self.tap_level_m)
        return float(self.most_flow_l_min * share ** (1.0 / SERVICE_PIPE_EXPONENT))


def allowed_friction_m(supply: SupplySettings, length_m: npt.ArrayLike) -> FloatArray:
    """Return the head allowed for friction in pipe of a length that is not sized yet [m]."""
    return np.asarray(supply.friction_allowance_m_per_100_m * np.asarray(length_m, float) / 100.0)


def source_ground_m(holding: Holding, source: Source) -> float:
    """Return the ground level at a source [m]: as given, or else from the raster.

    Raises
    ------
    InputError
        Where no raster knows the place and no level is given.
    """
    return ground_level(source, holding.surface)[0]


def source_named(holding: Holding, name: str) -> Source:
    """Return the source of that name.

    Raises
    ------
    InputError
        Where there is none.
    """
    for source in holding.sources:
        if source.name == name:
            return source
    raise InputError([Fault("[[source]]", "no source has that name", found=f'"{name}"')])


def has_tank(source: Source) -> bool:
    """Return whether the scheme draws from a tank at the source, not from the source directly."""
    settings = source.settings
    by_kind = settings.kind in ("header_tank", "bowser")
    return by_kind or settings.tank_volume_l is not None or _pumped_by_sun(source)


def pump_place(source: Source) -> PumpPlace:
    """Return whether a source's pump fills its tank or pushes water through the scheme.

    Where there is a tank, the pump of a borehole, spring or surface water fills it, and so does
    any solar one; the pump of a main, header tank or bowser is a booster that draws from it.
    """
    if source.settings.pump is None:
        return "none"
    draws = source.settings.kind in ("borehole", "spring", "surface_water")
    return "into the tank" if has_tank(source) and draws else "direct"


def filling_hours(source: Source, supply: SupplySettings) -> float:
    """Return the hours a day in which a source's tank is filled."""
    if _pumped_by_sun(source):
        return supply.peak_sun_hours
    window = hours_share(supply.fill_from_hour, supply.fill_to_hour)
    return float(window.sum()) * HOURS_A_DAY / STEPS_A_DAY


def source_curve(holding: Holding, source: Source, supply: SupplySettings) -> SourceCurve:
    """Return what a source gives at the ground it stands on, before a pump or a feeding source.

    Raises
    ------
    InputError
        A bucket that was filled above the level to which the main's pressure reaches; ground
        that is not known.
    """
    still_m = still_water(source, holding.surface)[0]
    ground_m = source_ground_m(holding, source)
    if source.settings.kind == "mains":
        return _main(source, ground_m, still_m, supply)
    pump = source.settings.pump
    depth_m = 0.0
    if pump is not None and pump_place(source) != "none":
        depth_m = pump.water_level_below_m
    lifted = pump is not None and source.settings.kind in ("borehole", "spring", "surface_water")
    level_m = (ground_m if lifted else still_m) - depth_m
    most = _least_known(source.settings.yield_l_min, None)
    daily = _daily(source, most)
    warnings: tuple[str, ...] = ()
    if source.settings.kind in ("header_tank", "bowser"):
        most = np.inf
        daily = np.inf if np.isnan(daily) else daily
    elif np.isnan(most) and np.isnan(daily):
        warnings = (words("intake.sources.no_yield_given", name=source.name),)
    elif np.isnan(most):
        most = daily / (HOURS_A_DAY * MINUTES_PER_HOUR)
    reason = words("intake.sources.constant_level", name=source.name, level_m=level_m)
    reason += words("intake.sources.up_to_flow", most=most) if np.isfinite(most) else "."
    return SourceCurve(level_m, level_m, most, daily, False, reason, warnings)


def _main(source: Source, ground_m: float, still_m: float, supply: SupplySettings) -> SourceCurve:
    """Return the falling curve of a main, through the worst of its timed buckets."""
    settings = source.settings
    gauge_m = ground_m + (settings.height_above_ground_m or 0.0)
    found = [
        (item.litres / item.seconds * 60.0, item.level_m, item.through) for item in settings.bucket
    ]
    if settings.bucket_l is not None and settings.bucket_s is not None:
        found.insert(0, (settings.bucket_l / settings.bucket_s * 60.0, None, "open pipe"))
    levels = [gauge_m if level is None else level for _flow, level, _through in found]
    _check_buckets(source, levels, still_m)
    readings = [
        (_carried_to(flow, level, gauge_m, still_m), flow, level, through)
        for (flow, _level, through), level in zip(found, levels, strict=True)
    ]
    warnings: list[str] = []
    if not readings:
        return _main_not_measured(source, gauge_m, still_m)
    through_valves = [reading for reading in readings if reading[3] == "valve"]
    worst = min([reading for reading in readings if reading[3] == "open pipe"] or readings)
    if len(through_valves) == len(readings):
        warnings.append(words("intake.sources.buckets_through_valves", name=source.name))
    measured, flow, level, through = worst
    most = _least_known(measured * supply.dry_summer_factor, settings.yield_l_min)
    reason = words(
        "intake.sources.main_level_falls",
        name=source.name,
        still_m=still_m,
        service_pipe_exponent=SERVICE_PIPE_EXPONENT,
        flow=flow,
        which="an open pipe" if through == "open pipe" else "a valve",
        level=level,
        count=len(readings),
        most=most,
        gauge_m=gauge_m,
    )
    return SourceCurve(
        still_m, gauge_m, most, _daily(source, most), still_m > gauge_m, reason, tuple(warnings)
    )


def _main_not_measured(source: Source, gauge_m: float, still_m: float) -> SourceCurve:
    most = _least_known(source.settings.yield_l_min, None)
    warning = words("intake.sources.no_bucket_timed", name=source.name)
    reason = words("intake.sources.main_level_unmeasured", name=source.name, still_m=still_m)
    daily = _daily(source, most)
    return SourceCurve(still_m, gauge_m, most, daily, False, reason, (warning,))


def _carried_to(flow: float, level_m: float, gauge_m: float, still_m: float) -> float:
    """Return the flow at the gauge, with no pressure left, of a flow measured at another level."""
    if level_m == gauge_m or still_m <= gauge_m:
        return flow
    return flow * float(((still_m - gauge_m) / (still_m - level_m)) ** (1 / SERVICE_PIPE_EXPONENT))


def _check_buckets(source: Source, levels: list[float], still_m: float) -> None:
    pressed = source.settings.static_pressure_bar is not None
    faults = [
        Fault(
            f'[[source]] "{source.name}", bucket',
            "was filled above the level that the main's pressure reaches",
            found=f"{level:.1f} m",
            expected=f"below {still_m:.1f} m",
            remedy="check level_m of the tap, its datum, and static_pressure_bar",
        )
        for level in levels
        if pressed and level >= still_m
    ]
    if faults:
        raise InputError(faults)


def _daily(source: Source, most_l_min: float) -> float:
    """Return litres a day: what is given, and no more than the flow makes in a day."""
    by_flow = most_l_min * HOURS_A_DAY * MINUTES_PER_HOUR
    return _least_known(source.settings.yield_l_day, by_flow)


def _least_known(first: float | None, second: float | None) -> float:
    known = [value for value in (first, second) if value is not None and not np.isnan(value)]
    return float(min(known)) if known else float("nan")


def _pumped_by_sun(source: Source) -> bool:
    pump = source.settings.pump
    draws = source.settings.kind in ("borehole", "spring", "surface_water")
    return draws and pump is not None and pump.power == "solar"
