"""Daily demand and design flow, by mob and by paddock."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from dewpond.base.errors import Fault, InputError
from dewpond.base.model import Demand, Holding, Mob
from dewpond.base.settings import DemandSettings, DesignSettings, MobSettings
from dewpond.base.units import MINUTES_PER_HOUR
from dewpond.base.words import words
from dewpond.steps.demand.calendar import MONTH_NAMES, MONTHS, State, states
from dewpond.steps.demand.methods import Figure, figure_for

# Live weights [kg] beyond which a slip of the pen is likely: common practice, no source.
_LIKELY_WEIGHTS_KG: Mapping[str, tuple[float, float]] = {
    "cattle": (40.0, 1200.0),
    "sheep": (8.0, 170.0),
    "goats": (5.0, 140.0),
    "horses": (80.0, 1100.0),
}


def estimate_demand(holding: Holding, demand: DemandSettings, design: DesignSettings) -> Demand:
    """Return the water that each mob and each paddock needs on the peak day.

    Parameters
    ----------
    holding : Holding
        Its mobs and paddocks are used.
    demand : DemandSettings
        Method, shares, drinking hours, losses and the weather of the peak day.
    design : DesignSettings
        The trough, where a mob does not say its own.

    Returns
    -------
    Demand
        ``litres_head_day`` is what one animal drinks [L]; ``daily_demand_l`` adds the losses;
        ``design_flow_l_min`` delivers that within the drinking hours of the trough [L/min].
        Where the chosen method has no figure for a mob, another is used and a warning says so.
        A mob with periods stands in its own peak month, the first of equals; ``calendar`` has
        every month.

    Raises
    ------
    InputError
        One fault for each mob that names a class which the chosen table does not hold.
    """
    by_mob = _needs(holding.mobs, demand)
    peaks = [max(needs, key=lambda need: need.daily_l) for needs in by_mob]
    rows = [
        _mob_row(mob, peak, demand, design) for mob, peak in zip(holding.mobs, peaks, strict=True)
    ]
    mobs = pd.DataFrame(rows, index=pd.Index([mob.name for mob in holding.mobs]))
    calendar = (
        _calendar(holding.mobs, by_mob, mobs) if any(map(_has_periods, holding.mobs)) else None
    )
    warnings = [
        f'Mob "{mob.name}": {note}.'
        for mob, needs in zip(holding.mobs, by_mob, strict=True)
        for note in dict.fromkeys(note for need in needs for note in need.notes)
    ]
    if calendar is None:
        return Demand(mobs, _by_paddock(holding, mobs), tuple(warnings))
    totals_l = calendar.groupby("month")["daily_demand_l"].sum()
    peak_month = int(totals_l.idxmax())
    warnings += _apart_notes(mobs, peak_month)
    return Demand(mobs, _by_paddock(holding, calendar), tuple(warnings), calendar, peak_month)


@dataclass(frozen=True)
class _Need:
    """What a mob needs in a month: litres a day, and the figure that gave them."""

    state: State
    figure: Figure
    daily_l: float
    notes: tuple[str, ...]


def _has_periods(mob: Mob) -> bool:
    return bool(mob.settings.period)


def _needs(mobs: tuple[Mob, ...], demand: DemandSettings) -> list[list[_Need]]:
    """Return the needs of each mob by month; one need where it has no periods."""
    needs: list[list[_Need]] = []
    faults: dict[str, Fault] = {}
    for mob in mobs:
        needs.append([])
        for state in states(mob):
            try:
                needs[-1].append(_need(state, demand))
            except InputError as error:
                faults.update((str(fault), fault) for fault in error.faults)
    if faults:
        raise InputError(list(faults.values()))
    return needs


def _need(state: State, demand: DemandSettings) -> _Need:
    figure = figure_for(state.settings, demand)
    if state.away:
        return _Need(state, figure, 0.0, ())
    daily_l = state.settings.head * figure.litres_head_day
    notes = (*figure.notes, *_weight_notes(state.settings))
    if state.young is not None:
        young = figure_for(state.young, demand)
        daily_l += state.young.head * young.litres_head_day
        notes += tuple(f"young: {note}" for note in (*young.notes, *_weight_notes(state.young)))
    return _Need(state, figure, daily_l * (1.0 + demand.loss_share), notes)


def _mob_row(
    mob: Mob, peak: _Need, demand: DemandSettings, design: DesignSettings
) -> dict[str, object]:
    trough = mob.settings.trough or design.trough
    hours = demand.mobile_hours if trough == "mobile" else demand.fixed_hours
    stock, young = peak.state.settings, peak.state.young
    return {
        "species": stock.species,
        "head": stock.head,
        "weight_kg": stock.weight_kg,
        "lactating": stock.lactating,
        "trough": trough,
        "method": peak.figure.method,
        "stock_class": peak.figure.stock_class,
        "source": peak.figure.source,
        "litres_head_day": peak.figure.litres_head_day,
        "daily_demand_l": peak.daily_l,
        "drinking_hours": hours,
        "design_flow_l_min": peak.daily_l / (hours * MINUTES_PER_HOUR),
        "paddocks": mob.paddocks,
        "mobile_hours": demand.mobile_hours,
        "fixed_hours": demand.fixed_hours,
        "young_head": young.head if young is not None else 0,
        "peak_month": peak.state.month,
    }


def _calendar(
    mobs: tuple[Mob, ...], by_mob: list[list[_Need]], table: pd.DataFrame
) -> pd.DataFrame:
    """Return one row for each month and mob; a mob without periods is the same in every month."""
    rows = []
    for month in MONTHS:
        for mob, needs in zip(mobs, by_mob, strict=True):
            need = needs[(month - 1) % len(needs)]
            stock, young, away = need.state.settings, need.state.young, need.state.away
            minutes = float(table.at[mob.name, "drinking_hours"]) * MINUTES_PER_HOUR
            rows.append(
                {
                    "month": month,
                    "mob": mob.name,
                    "head": 0 if away else stock.head,
                    "young_head": young.head if young is not None else 0,
                    "weight_kg": stock.weight_kg,
                    "lactating": stock.lactating,
                    "daily_demand_l": need.daily_l,
                    "design_flow_l_min": need.daily_l / minutes,
                    "paddocks": need.state.paddocks,
                }
            )
    return pd.DataFrame(rows)


def _by_paddock(holding: Holding, stock: pd.DataFrame) -> pd.DataFrame:
    """Return the most that any one mob needs in each paddock: mobs do not share one on one day."""
    grazed = stock[["paddocks", "daily_demand_l", "design_flow_l_min"]].explode("paddocks")
    grazed = grazed.dropna(subset="paddocks")
    needs = grazed.astype({"paddocks": int}).groupby("paddocks")
    table = needs[["daily_demand_l", "design_flow_l_min"]].max()
    table = table.reindex(holding.paddocks.index, fill_value=0.0).astype(float)
    names = pd.Series(
        [
            tuple(mob.name for mob in holding.mobs if paddock in mob.paddocks)
            for paddock in holding.paddocks.index
        ],
        index=holding.paddocks.index,
        dtype=object,
    )
    return pd.DataFrame({"name": holding.paddocks["name"], "mobs": names}).join(table)


def _apart_notes(mobs: pd.DataFrame, peak_month: int) -> list[str]:
    """Say where the peaks of the mobs fall apart, and that the weather is one for all months."""
    notes = [words("demand.estimate.peak_month", month_names=MONTH_NAMES[peak_month - 1])]
    apart = [
        f"{name} in {MONTH_NAMES[int(month) - 1]}"
        for name, month in mobs["peak_month"].items()
        if month not in (0, peak_month)
    ]
    if apart:
        notes.append(words("demand.estimate.mobs_peak_elsewhen", names=", ".join(apart)))
    return notes


def _weight_notes(mob: MobSettings) -> tuple[str, ...]:
    low, high = _LIKELY_WEIGHTS_KG[mob.species]
    if low <= mob.weight_kg <= high:
        return ()
    return (
        words("demand.estimate.unlikely_weight", weight_kg=mob.weight_kg, species=mob.species),
    )
