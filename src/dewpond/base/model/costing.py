"""What a scheme costs: a priced schedule that can be traced, its stages, its whole life."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

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
        (money), ``life_years`` (NaN where it is not replaced), ``price_source``.
    totals : mapping of str to float
        ``net`` (sum of the amounts), ``contingency``, ``tax``, ``gross`` (all three), ``grant``,
        ``to_pay`` (gross less grant), and net amounts ``landlord``, ``tenant``, ``portable``.
    rates : mapping of str to float
        ``contingency_share``, ``tax_share``, ``pipe_waste_share``, ``budget`` (NaN where none is
        set), ``term_years``, ``discount_rate``.
    stages : DataFrame
        Row label = stage, 1 to n, in the order of building; every stage works with those before
        it. Columns ``pipes``, ``outlets``, ``paddocks`` (tuples of names; paddocks that have
        water over all of their ground from this stage on), ``net``, ``gross``,
        ``running_gross``, ``within_budget`` (bool).
    whole_life : mapping of str to float
        Present values over the term: ``capital``, ``water``, ``energy``, ``hauling``,
        ``moving`` (labour of moving troughs), ``replacement``, ``total``; and ``each_year``
        (the total as an even yearly sum).
    yearly : DataFrame
        Row label = year, 0 to the term; columns as the parts of `whole_life`, undiscounted, and
        ``present_value``.
    currency : str
        ISO 4217.
    warnings : tuple of str
    """

    items: pd.DataFrame
    totals: Mapping[str, float]
    rates: Mapping[str, float]
    stages: pd.DataFrame
    whole_life: Mapping[str, float]
    yearly: pd.DataFrame
    currency: str
    warnings: tuple[str, ...] = ()
