"""The same scheme sized so that every outlet works with the chance that is wanted."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import ndtr, ndtri

from dewpond.base.model import HeadMargins, Network, Sizes
from dewpond.base.surface import FloatArray
from dewpond.base.words import words
from dewpond.steps.confidence.field import EXACT, Field
from dewpond.steps.confidence.line import Line, Places

# How far beyond the wanted chance margins are tried where several requirements of an outlet must
# hold together [standard deviations], and how often the step between is halved.
_FARTHEST = 1.5
_HALVINGS = 5

Resize = Callable[[HeadMargins], Sizes]
Chances = Callable[[Sizes], FloatArray]


@dataclass(frozen=True, eq=False)
class Safer:
    """What came of the search.

    Attributes
    ----------
    sizes : Sizes or None
        The cheapest that was found to give every outlet the wanted chance.
    chance : array of float, shape (outlets,)
        With those sizes; where there are none, with the safest that were found.
    """

    sizes: Sizes | None
    chance: FloatArray


def search_safer(
    line: Line,
    field: Field,
    places: Places,
    network: Network,
    wanted: float,
    resize: Resize,
    chances: Chances,
) -> Safer:
    """Size with margins for the wanted chance, and again until the simulations bear it out.

    One margin is the quantile of one head's error. An outlet asks for several things at once, so
    its chance may stay below that of each: then all margins grow together, by the least that
    helps, found by halving. Where no pipe keeps the margins, smaller ones are tried to tell the
    best that can be had.
    """
    mean, deviation = field.heads_of(line.place, line.datum)
    at_outlet = field.heads_of(line.outlet_place, line.outlet_datum)

    def attempt(score: float) -> tuple[float, Sizes, FloatArray]:
        sizes = resize(_margins(line, places, network, (mean, deviation), at_outlet, score))
        chance = chances(sizes)
        return float(chance.min()), sizes, chance

    least = float(ndtri(wanted))
    first = attempt(least)
    if first[0] >= wanted:
        return Safer(first[1], first[2])
    best, found = first, None
    low, high = least, least + _FARTHEST
    tried = attempt(high)
    best = max(best, tried, key=lambda item: item[0])
    if tried[0] >= wanted:
        found = tried
        for _ in range(_HALVINGS):
            middle = (low + high) / 2.0
            tried = attempt(middle)
            if tried[0] >= wanted:
                found, high = tried, middle
            else:
                low = middle
        return Safer(found[1], found[2])
    for share in (0.75, 0.5, 0.25, 0.0):
        tried = attempt(least * share)
        best = max(best, tried, key=lambda item: item[0])
        if tried[0] < best[0] and best[0] > float(ndtr(least * share)):
            break
    if best[0] >= wanted:
        return Safer(best[1], best[2])
    return Safer(None, best[2])


def _margins(
    line: Line,
    places: Places,
    network: Network,
    along: tuple[FloatArray, FloatArray],
    at_outlet: tuple[FloatArray, FloatArray],
    score: float,
) -> HeadMargins:
    """Return what to keep in hand so that each head alone holds with the chance of a score."""
    mean, deviation = along
    clearance, rise = np.zeros(len(places.ground_m)), np.zeros(len(places.ground_m))
    asked = np.isfinite(line.over_m) & (line.datum != EXACT) | (deviation > 0)
    np.maximum.at(clearance, line.place, np.where(asked, score * deviation - mean, 0.0))
    np.maximum.at(rise, line.place, np.where(asked, score * deviation + mean, 0.0))
    parts = {
        str(name): slice(int(places.first[position]), int(places.first[position + 1]))
        for position, name in enumerate(network.pipes.index)
    }
    return HeadMargins(
        {
            name: max(0.0, float(score * sd - shift))
            for name, shift, sd in zip(line.outlets, *at_outlet, strict=True)
        },
        {name: clearance[part] for name, part in parts.items()},
        {name: rise[part] for name, part in parts.items()},
    )


def design_record(
    found: Safer | None,
    line: Line,
    served: FloatArray,
    chance_all: float,
    sizes: Sizes,
    wanted: float,
) -> dict[str, float | str]:
    """Return the figures of the safer design, or why there is none.

    Parameters
    ----------
    found : Safer or None
        None where no pipe fits on the best guess.
    line : Line
    served : array of bool, shape (outlets,)
        Whether the best guess serves each outlet.
    chance_all : float
        With the safer sizes.
    sizes : Sizes
        As planned.
    wanted : float
    """
    now = float(sizes.pipes["pipe_cost"].sum()) if len(sizes.pipes) else 0.0
    record: dict[str, float | str] = {
        "wanted": wanted, "feasible": 0.0, "most_chance": float("nan"), "chance_all": float("nan"),
        "pipe_cost": float("nan"), "extra_cost": float("nan"), "reason": "",
    }  # fmt: skip
    if not line.outlets:
        return {**record, "reason": words("confidence.design.no_outlet")}
    if found is None:
        return {**record, "most_chance": 0.0, "reason": words("confidence.design.no_pipe")}
    record["most_chance"] = float(found.chance.min())
    if found.sizes is not None:
        cost = float(found.sizes.pipes["pipe_cost"].sum())
        return {
            **record, "feasible": 1.0, "chance_all": chance_all, "pipe_cost": cost,
            "extra_cost": cost - now,
        }  # fmt: skip
    dry = [name for name, some in zip(line.outlets, served, strict=True) if not some]
    if dry:
        reason = words("confidence.design.not_served", outlets=listed(dry), count=len(dry))
        return {**record, "reason": reason}
    short = [n for n, some in zip(line.outlets, found.chance >= wanted, strict=True) if not some]
    reason = words(
        "confidence.design.not_enough",
        outlets=listed(short), count=len(short), chance=cases(float(found.chance.min())),
    )  # fmt: skip
    return {**record, "reason": reason}


def design_pipes(planned: Sizes, safer: Sizes | None) -> pd.DataFrame:
    """Return sizes and classes as planned and, where there is one, of the safer design."""
    columns = ["outside_diameter_mm", "pressure_class_bar"]
    table = planned.pipes[columns].astype(float)
    for column in columns:
        values = np.nan if safer is None else safer.pipes[column].reindex(table.index)
        table[f"safe_{column}"] = values
    return table


def cases(chance: float) -> str:
    """Return a chance as an adviser says it: 7 of 10 cases."""
    tenths = int(np.floor(10.0 * chance + 0.5))
    if tenths in (0, 10):
        return words(f"confidence.chance.{'none' if tenths == 0 else 'certain'}")
    return words("confidence.chance.share", tenths=tenths)


def listed(names: list[str], most: int = 4) -> str:
    """Return names in a row, the rest of a long list as a number."""
    shown = ", ".join(names[:most])
    return shown if len(names) <= most else f"{shown} and {len(names) - most} more"
