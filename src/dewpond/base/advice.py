"""How sure a plan is, in words an adviser can say."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from dewpond.base.measures import Measures, money
from dewpond.base.model.confidence import Confidence
from dewpond.base.words import words

_ALWAYS, _NEARLY_ALWAYS, _HARDLY_EVER, _NEVER = 0.995, 0.95, 0.05, 0.005
_MOST_SPOTS = 2
_METRIC = Measures("metric")


def in_cases(chance: float) -> str:
    """Return a chance as one says it.

    Examples
    --------
    >>> in_cases(0.71)
    'in 7 of 10 cases'
    """
    if chance >= _ALWAYS:
        return words("confidence.chance.always")
    if chance < _NEVER:
        return words("confidence.chance.never")
    if chance >= _NEARLY_ALWAYS:
        return words("confidence.chance.nearly_always")
    if chance < _HARDLY_EVER:
        return words("confidence.chance.hardly_ever")
    return words("confidence.chance.share", tenths=int(np.floor(10.0 * chance + 0.5)))


def listed(names: Sequence[str], most: int = 4) -> str:
    """Return names in a row, "and" before the last; the rest of a long list as a number."""
    shown = list(names) if len(names) <= most else [*names[:most], f"{len(names) - most} more"]
    return " and ".join(filter(None, [", ".join(shown[:-1]), *shown[-1:]]))


def advice(found: Confidence, currency: str, measures: Measures = _METRIC) -> str:
    """Return what an adviser would say of a plan: how sure it is, and what to do about it.

    Parameters
    ----------
    found : Confidence
    currency : str
        ISO 4217 code of the prices.
    measures : Measures, optional
        Units in which heads are said.

    Returns
    -------
    str
        A few sentences; empty where there is no outlet.
    """
    if found.outlets.empty:
        return ""
    said = [*_chances(found), *_spots(found), *_influence(found, measures)]
    return " ".join([*said, *_safer(found, currency)])


def _chances(found: Confidence) -> list[str]:
    chance = found.outlets["chance"]
    doubtful = chance[chance < float(found.design["wanted"])]
    least = str(chance.idxmin())
    said = in_cases(float(chance.min()))
    if doubtful.empty:
        return [words("confidence.advice.safe", chance=said)]
    key = "one" if len(doubtful) == 1 else "several"
    return [
        words(
            f"confidence.advice.{key}",
            outlet=least,
            chance=said,
            count=len(doubtful),
            why=words(f"confidence.weakest.{found.outlets.at[least, 'weakest']}"),
        ),
        words("confidence.advice.together", chance=in_cases(found.chance_all)),
    ]


def _spots(found: Confidence) -> list[str]:
    names = [f"the {name}" if name == "source" else str(name) for name in found.survey["name"]]
    if not names:
        return []
    return [words("confidence.advice.level", spots=listed(names[:_MOST_SPOTS]))]


def _influence(found: Confidence, measures: Measures) -> list[str]:
    """Say what matters most, by its worse end."""
    if found.influences.empty:
        return []
    row = found.influences.iloc[0]
    end = "low" if row["figure_low"] <= row["figure_high"] else "high"
    head_m = float(row[f"figure_{end}"])
    factor = words(f"confidence.factor.{str(row['factor']).replace(' ', '_')}")
    key = "influence_short" if head_m < 0 else "influence"
    head = measures.text("head", abs(head_m))
    return [words(f"confidence.advice.{key}", factor=factor, end=row[end], head=head)]


def _safer(found: Confidence, currency: str) -> list[str]:
    design = found.design
    wanted = f"{100 * float(design['wanted']):g}"
    if not design["feasible"]:
        reason = str(design["reason"])
        return [words("confidence.advice.no_safer", wanted=wanted, reason=reason)]
    extra = float(design["extra_cost"])
    if extra <= 0:
        return []
    key = "built_safer" if design.get("built") else "safer"
    return [words(f"confidence.advice.{key}", wanted=wanted, extra=money(extra, currency))]
