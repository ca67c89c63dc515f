"""All remedies for what fails, those that are enough by themselves first."""

from __future__ import annotations

from collections.abc import Mapping

from dewpond.base.model import Judgement, Remedy
from dewpond.steps.supply.case import Case
from dewpond.steps.supply.remedies import elsewhere, hill_tank, stock, works
from dewpond.steps.supply.remedies.offer import as_remedy


def find_remedies(case: Case, judged: Mapping[str, Judgement]) -> tuple[Remedy, ...]:
    """Return what would mend a source, empty where every judgement is met.

    A remedy works where the judgements that it mends are all that fail; the text says what it
    leaves. The order is that of the effort: stock and troughs, pipe, tanks, pumps, other water.
    """
    failing = frozenset(key for key, judgement in judged.items() if not judgement.met)
    if not failing:
        return ()
    gap_mm = judged["air gap"].limit if "air gap" in judged else 0.0
    offers = [
        works.over_the_rim(case, failing, gap_mm),
        stock.fixed_troughs(case, failing, case.trough),
        stock.fewer_stock(case, failing),
        stock.lower_ground(case, failing),
        works.wider_pipe(case, failing),
        works.raised_tank(case, failing),
        works.bigger_tank(case, failing),
        works.longer_filling(case, failing),
        works.tank_at_source(case, failing),
        works.air_gapped_tank(case, failing),
        *hill_tank.hill_tank(case, failing),
        works.filling_pump(case, failing),
        works.booster(case, failing),
        works.lower_pump(case, failing),
        works.bigger_bowser(case, failing),
        *elsewhere.other_sources(case, failing),
        works.hauled_rest(case, failing),
    ]
    wanting = {key: one.requirement for key, one in judged.items() if not one.met}
    remedies = [as_remedy(offered, wanting) for offered in offers if offered is not None]
    return tuple(sorted(remedies, key=lambda remedy: not remedy.works))
