"""What a scheme costs: a priced schedule that can be traced, its stages, its whole life."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import pandas as pd


@dataclass(frozen=True, eq=False)
class Costing:
    """The priced schedule of quantities of one scheme.

    Attributes
    ----------
    items : DataFrame
        One row a line of the schedule, row labels 0 to n-1, in the order of printing; columns
        ``work`` (heading it stands under: "pipe", "outlets", "source", "fittings", "crossings",
        "laying", "labour"), ``code`` (key of the price list), ``description``, ``quantity``,
        ``unit``, ``rate``, ``amount`` (quantity times rate), ``holder`` ("landlord", "tenant",
        "portable"), ``features`` (tuple of names of features of the plan that it is counted
        from), ``parcels`` (tuple of parcel identifiers that those lie in), ``measured``
        (quantity before laps and waste), ``stage`` (tuple of (stage, quantity) pairs), ``grant``
        (money), ``life_years`` (NaN where it is not replaced), ``price_source``, ``grant_name``
        (empty where none pays).
    totals : mapping of str to float
        ``net`` (sum of the amounts), ``contingency``, ``tax``, ``gross`` (all three), ``grant``,
        ``to_pay`` (gross less grant), and net amounts ``landlord``, ``tenant``, ``portable``.
    rates : mapping of str to float
        ``contingency_share``, ``tax_share``, ``pipe_waste_share``, ``budget`` (NaN where none is
        set), ``term_years``, ``discount_rate``, ``water_share`` (of the ground, or of the water
        its stock need, that the whole scheme waters: what the scheme within the budget waters of
        it, 1 without a budget), ``water_share_bound`` (the most that any could) and
        ``unpriced_pipe_m`` (new pipe for which no size will do: the totals lack it).
    stages : DataFrame
        Row label = stage, 1 to n, in the order of building; every stage works with those before
        it. Columns ``pipes``, ``outlets``, ``paddocks`` (tuples of names; paddocks that have
        water from this stage on over all of the ground that the whole scheme waters), ``net``,
        ``gross``, ``running_gross``, ``within_budget`` (bool).
    whole_life : mapping of str to float
        Present values over the term: ``capital`` (what is to pay), ``water``, ``energy``,
        ``hauling``, ``moving`` (labour of moving troughs), ``replacement``, ``total``; and
        ``each_year`` (the total as an even yearly sum).
    yearly : DataFrame
        Row label = year, 0 to the term; columns as the parts of `whole_life`, undiscounted, and
        ``present_value``.
    currency : str
        ISO 4217.
    warnings : tuple of str
    takeoff : DataFrame
        What the lines are added up from, one row for each quantity counted from features, in the
        order of counting: columns ``item`` (row label of `items`), ``quantity``, ``measured``,
        ``features``, ``element`` ("source", pipe, outlet or "mob NAME": what it is built with),
        ``parcels``, ``stage`` (row label of `stages`), ``amount`` (its part of the line's).
    grants : DataFrame
        One row for each grant; columns ``name``, ``amount``, ``capped`` (bool), ``source``.
    running : mapping of str to float
        What the yearly costs are worked out from: ``water_m3``, ``energy_kwh``, ``hauling_h``,
        ``moving_h`` a year.
    """

    items: pd.DataFrame
    totals: Mapping[str, float]
    rates: Mapping[str, float]
    stages: pd.DataFrame
    whole_life: Mapping[str, float]
    yearly: pd.DataFrame
    currency: str
    warnings: tuple[str, ...] = ()
    takeoff: pd.DataFrame = field(default_factory=pd.DataFrame)
    grants: pd.DataFrame = field(default_factory=pd.DataFrame)
    running: Mapping[str, float] = field(default_factory=dict)
