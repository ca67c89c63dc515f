"""The other sources of the holding, weighed for the same pipe."""

from __future__ import annotations

import numpy as np

from dewpond.base.errors import InputError
from dewpond.base.filling import filling_of, tank_level_m
from dewpond.base.model import Source
from dewpond.base.sources import pump_place, source_curve
from dewpond.base.words import words
from dewpond.steps.supply.case import Case
from dewpond.steps.supply.need import FLOW_MARGIN_L_MIN, HEAD_MARGIN_M
from dewpond.steps.supply.remedies.offer import Offer, offer

_WATER = frozenset({"flow", "head", "volume"})


def other_sources(case: Case, failing: frozenset[str]) -> list[Offer]:
    """Return the other sources of the holding, and whether each would do on the same pipe.

    One whose pump pushes through the scheme is left out: it takes a plan of its own.
    """
    if not failing & _WATER or not np.isfinite(case.need.level_m):
        return []
    return [
        _weighed(case, source)
        for source in case.holding.sources
        if source is not case.source and pump_place(source) != "direct"
    ]


def _weighed(case: Case, source: Source) -> Offer:
    try:
        level_m, most_l_min, daily_l = _gives(case, source)
    except InputError as error:
        return offer(
            words("remedies.elsewhere.not_weighed", name=source.name, error=error),
            (),
            float("nan"),
            "m",
        )
    spare_m = level_m - case.need.level_m
    mends = set()
    if most_l_min >= case.need.flow_l_min - FLOW_MARGIN_L_MIN:
        mends.add("flow")
    if spare_m >= -HEAD_MARGIN_M:
        mends.add("head")
    if daily_l >= case.need.daily_l:
        mends.add("volume")
    height = words("remedies.elsewhere.height_against_need", spare_m=spare_m)
    text = words(
        "remedies.elsewhere.plan_from_other",
        name=source.name,
        level_m=level_m,
        height=height,
    )
    if np.isinf(daily_l):
        text += words("remedies.elsewhere.must_be_filled", daily_l=case.need.daily_l)
    elif daily_l <= 0.0:
        text += words("remedies.elsewhere.filler_needs_pump", fed_by=source.settings.fed_by)
    elif np.isnan(daily_l):
        text += words("remedies.elsewhere.yield_unmeasured")
    else:
        text += words("remedies.elsewhere.gives_daily", daily_l=daily_l)
    return offer(text, mends if mends == _WATER else (), level_m, "m")


def _gives(case: Case, source: Source) -> tuple[float, float, float]:
    """Return level [m], most flow [L/min] and litres a day of a source.

    The level is that under the design flow, or under the most that it gives.
    """
    fill = filling_of(case.holding, source, case.supply)
    if fill is not None:
        return tank_level_m(case.holding, source), np.inf, fill.daily_volume_l
    curve = source_curve(case.holding, source, case.supply)
    level_m = float(curve.level_at_m(np.fmin(case.need.flow_l_min, curve.most_flow_l_min)))
    return level_m, curve.most_flow_l_min, curve.daily_volume_l
