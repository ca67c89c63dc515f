"""Each source judged on flow, head, volume and rules, with tank, pump, labour and remedies."""

from __future__ import annotations

from dewpond.base.model import (
    Delivery,
    Demand,
    Flows,
    Heads,
    Holding,
    Intake,
    Network,
    Sizes,
    Supply,
    Watering,
)
from dewpond.base.settings import DesignSettings, SupplySettings, TroughSettings
from dewpond.steps.supply.case import Case, make_case
from dewpond.steps.supply.judgements import judge, shared_warnings
from dewpond.steps.supply.machinery import labour_figures, pump_figures
from dewpond.steps.supply.need import find_need
from dewpond.steps.supply.remedies import find_remedies
from dewpond.steps.supply.rules import cautions


def judge_supply(
    holding: Holding,
    demand: Demand,
    network: Network,
    heads: Heads,
    watering: Watering,
    flows: Flows,
    intake: Intake,
    sizes: Sizes,
    delivery: Delivery,
    supply: SupplySettings,
    trough: TroughSettings,
    design: DesignSettings,
) -> Supply:
    """Judge whether the source carries the scheme, and say what would help where it does not.

    Parameters
    ----------
    holding, demand, network, heads, watering, flows, intake, sizes, delivery
        Values of the steps before.
    supply : SupplySettings
        Storage, pumping and hauling.
    trough : TroughSettings
        Where the water enters a trough.
    design : DesignSettings
        How pipe is laid.

    Returns
    -------
    Supply
        Judgements on flow, level, delivered flow, water a day, tank, suction, hauling and air
        gap, as far as each applies; the tank by a mass balance of the day in steps of 15
        minutes; remedies, those that are enough by themselves first.

    Raises
    ------
    InputError
        As `measure_intake`.
    """
    need = find_need(demand, network, heads, watering, flows, intake, sizes, delivery)
    case = make_case(
        holding, network, heads, watering, intake, sizes, need, supply, trough, design
    )
    judged = judge(case, delivery)
    return Supply(
        tuple(judged.values()),
        find_remedies(case, judged),
        _tank_figures(case),
        pump_figures(case),
        labour_figures(case),
        cautions(case),
        shared_warnings(case, delivery),
    )


def _tank_figures(case: Case) -> dict[str, float]:
    tank = case.tank
    if tank is None:
        return {}
    return {
        "volume_l": tank.volume_l,
        "reserve_l": tank.reserve_l,
        "balance_l": tank.balance_l,
        "fill_l_min": tank.inflow_l_min,
    }
