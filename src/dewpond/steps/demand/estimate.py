"""Daily demand and design flow, by mob and by paddock."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from dewpond.base.errors import Fault, InputError
from dewpond.base.model import Demand, Holding, Mob
from dewpond.base.settings import DemandSettings, DesignSettings, MobSettings
from dewpond.base.units import MINUTES_PER_HOUR
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

    Raises
    ------
    InputError
        One fault for each mob that names a class which the chosen table does not hold.
    """
    figures = _figures(holding.mobs, demand)
    rows = [
        _mob_row(mob, figure, demand, design)
        for mob, figure in zip(holding.mobs, figures, strict=True)
    ]
    mobs = pd.DataFrame(rows, index=pd.Index([mob.name for mob in holding.mobs]))
    warnings = tuple(
        f'Mob "{mob.name}": {note}.'
        for mob, figure in zip(holding.mobs, figures, strict=True)
        for note in (*figure.notes, *_weight_notes(mob.settings))
    )
    return Demand(mobs, _by_paddock(holding, mobs), warnings)


def _figures(mobs: tuple[Mob, ...], demand: DemandSettings) -> list[Figure]:
    figures: list[Figure] = []
    faults: list[Fault] = []
    for mob in mobs:
        try:
            figures.append(figure_for(mob.settings, demand))
        except InputError as error:
            faults.extend(error.faults)
    if faults:
        raise InputError(faults)
    return figures


def _mob_row(
    mob: Mob, figure: Figure, demand: DemandSettings, design: DesignSettings
) -> dict[str, object]:
    trough = mob.settings.trough or design.trough
    hours = demand.mobile_hours if trough == "mobile" else demand.fixed_hours
    daily_demand_l = mob.settings.head * figure.litres_head_day * (1.0 + demand.loss_share)
    return {
        "species": mob.settings.species,
        "head": mob.settings.head,
        "weight_kg": mob.settings.weight_kg,
        "lactating": mob.settings.lactating,
        "trough": trough,
        "method": figure.method,
        "stock_class": figure.stock_class,
        "source": figure.source,
        "litres_head_day": figure.litres_head_day,
        "daily_demand_l": daily_demand_l,
        "drinking_hours": hours,
        "design_flow_l_min": daily_demand_l / (hours * MINUTES_PER_HOUR),
        "paddocks": mob.paddocks,
    }


def _by_paddock(holding: Holding, mobs: pd.DataFrame) -> pd.DataFrame:
    """Return the most that any one mob needs in each paddock: mobs do not share one on one day."""
    grazed = mobs[["paddocks", "daily_demand_l", "design_flow_l_min"]].explode("paddocks")
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


def _weight_notes(mob: MobSettings) -> tuple[str, ...]:
    low, high = _LIKELY_WEIGHTS_KG[mob.species]
    if low <= mob.weight_kg <= high:
        return ()
    return (
        f"{mob.weight_kg:g} kg is an unlikely live weight for {mob.species}; "
        "check weight_kg in the project file",
    )
