"""The step: the priced schedule of one scheme, its stages and its whole life."""

from __future__ import annotations

import numpy as np
import pandas as pd

from dewpond.base.model import (
    Candidates,
    Costing,
    Demand,
    Heads,
    Holding,
    Isolation,
    Network,
    Reach,
    Sizes,
    Supply,
    Watering,
)
from dewpond.base.price_list import PriceList
from dewpond.base.settings import Project
from dewpond.base.words import words
from dewpond.steps.costing.book import Book
from dewpond.steps.costing.facts import Facts
from dewpond.steps.costing.lifetime import cost_over_years, running_quantities
from dewpond.steps.costing.places import find_places
from dewpond.steps.costing.schedule import add_up, pay_grants, total_up
from dewpond.steps.costing.stages import Staging, stage_table, stage_works
from dewpond.steps.costing.takeoff import take_off_fittings, take_off_outlets, take_off_pipe
from dewpond.steps.costing.works import take_off_works


def cost_scheme(
    holding: Holding,
    demand: Demand,
    candidates: Candidates,
    reach: Reach,
    network: Network,
    heads: Heads,
    watering: Watering,
    isolation: Isolation,
    sizes: Sizes,
    supply: Supply,
    settings: Project,
    prices: PriceList,
) -> Costing:
    """Count and price everything that a scheme takes, part it in stages, and add up its years.

    Parameters
    ----------
    holding, demand, candidates, reach, network, heads, watering, isolation, sizes, supply
        Values of the steps before.
    settings : Project
        ``[costing]``, the grants, and what laying, hose and tenure follow from.
    prices : PriceList
        From `read_price_list`.

    Returns
    -------
    Costing
        Every line names the features that it is counted from.
    """
    facts = Facts(holding, candidates, network, heads, watering, isolation, sizes, supply,
                  settings, prices)  # fmt: skip
    book = _take_off(facts)
    items, takeoff = add_up(book.entries)
    items, grants = pay_grants(items, settings.grant)
    totals = total_up(items, grants, settings)
    factor = totals["gross"] / totals["net"] if totals["net"] > 0.0 else 1.0
    staging = stage_works(facts, reach, demand, takeoff, factor)
    takeoff = takeoff.assign(stage=[staging.of_element.get(e, 0) for e in takeoff["element"]])
    running = running_quantities(facts, demand)
    whole_life, yearly = cost_over_years(items, totals["to_pay"], running, settings.costing)
    return Costing(
        items=items.assign(stage=_stages_of_lines(items, takeoff)),
        totals=totals,
        rates=_rates(facts, staging),
        stages=stage_table(facts, reach, staging, takeoff, totals),
        whole_life=whole_life,
        yearly=yearly,
        currency=prices.currency,
        warnings=tuple(dict.fromkeys([*prices.warnings, *book.warnings, *staging.warnings])),
        takeoff=takeoff,
        grants=grants,
        running=running,
    )


def _take_off(facts: Facts) -> Book:
    book = Book(facts, find_places(facts))
    if facts.unsized:
        metres = float(facts.length_m[facts.unsized].sum())
        book.warnings.append(words("costing.no_size", pipes=facts.unsized, metres=metres))
    take_off_works(book)
    take_off_pipe(book)
    take_off_fittings(book)
    take_off_outlets(book)
    return book


def _stages_of_lines(items: pd.DataFrame, takeoff: pd.DataFrame) -> pd.Series:
    """Return for each line the (stage, quantity) pairs that it is parted into."""
    sums = takeoff[takeoff["stage"] > 0].groupby(["item", "stage"])["quantity"].sum()
    pairs: dict[int, list[tuple[int, float]]] = {int(row): [] for row in items.index}
    for (item, stage), quantity in sums.items():
        pairs[int(item)].append((int(stage), float(quantity)))
    return pd.Series([tuple(pairs[int(row)]) for row in items.index], items.index, dtype=object)


def _rates(facts: Facts, staging: Staging) -> dict[str, float]:
    costing = facts.settings.costing
    return {
        "contingency_share": costing.contingency_share,
        "tax_share": costing.tax_share,
        "pipe_waste_share": costing.pipe_waste_share,
        "budget": np.nan if costing.budget is None else costing.budget,
        "term_years": float(costing.term_years),
        "discount_rate": costing.discount_rate,
        "water_share": staging.share,
        "water_share_bound": staging.bound,
        "unpriced_pipe_m": float(facts.length_m[facts.unsized].sum()),
    }
