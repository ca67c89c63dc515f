"""The same scheme sized so that every outlet works with the chance that is wanted."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.special import ndtri

from dewpond.base.advice import in_cases, listed
from dewpond.base.errors import SolverError
from dewpond.base.model import HeadMargins, Network, Sizes
from dewpond.base.surface import FloatArray
from dewpond.base.words import words
from dewpond.steps.confidence.field import Field
from dewpond.steps.confidence.line import Line, Places

# How far beyond the wanted chance margins are tried where several requirements of an outlet must
# hold together [standard deviations], and how often the last step is halved.
_LARGER = (0.2, 0.4, 0.7, 1.0, 1.5)
_HALVINGS = 2
# Shares of the margins tried where they cannot be kept, and how often those of single outlets are
# cut to what pipe can give.
_SMALLER = (0.75, 0.5, 0.25)
_ROUNDS = 3
_SMALL_HEAD_M = 1e-4

Resize = Callable[[HeadMargins], Sizes]
Chances = Callable[[Sizes], FloatArray]


@dataclass(frozen=True, eq=False)
class Safer:
    """A sizing with something in hand, held against the simulations.

    Attributes
    ----------
    sizes : Sizes
    chance : array of float, shape (outlets,)
        With these sizes.
    kept : bool
        Whether the pipe keeps every margin that was asked for.
    """

    sizes: Sizes
    chance: FloatArray
    kept: bool

    def enough(self, wanted: float) -> bool:
        """Return whether every outlet works with the wanted chance."""
        return bool((self.chance >= wanted).all())

    @property
    def rank(self) -> tuple[float, float]:
        """The least chance, then the mean of them: greater is better."""
        return float(self.chance.min()), float(self.chance.mean())


def search_safer(
    line: Line,
    field: Field,
    places: Places,
    network: Network,
    wanted: float,
    planned: Sizes,
    resize: Resize,
    chances: Chances,
) -> Safer:
    """Size with margins for the wanted chance, and again until the simulations bear it out.

    One margin is the quantile of one head's error. An outlet asks for several things at once, so
    its chance may stay below that of each: then all margins grow together, by the least step
    that helps. An outlet that no pipe gives its margin gets the most that it can have; where
    margins cannot be kept otherwise, smaller ones are tried.

    Returns
    -------
    Safer
        The sizes as planned where they are enough, else the cheapest found that is, else the
        safest found.
    """
    along = field.heads_of(line.place, line.datum)
    at_outlet = field.heads_of(line.outlet_place, line.outlet_datum)

    def attempt(score: float) -> Safer:
        margins = _margins(line, places, network, along, at_outlet, score)
        try:
            return _sized(margins, line, resize, chances)
        except SolverError:  # the plan stands without its safer sister
            return Safer(planned, np.zeros(len(line.outlets)), kept=False)

    as_planned = Safer(planned, chances(planned), kept=True)
    if as_planned.enough(wanted):
        return as_planned
    least = float(ndtri(wanted))
    first = attempt(least)
    if first.enough(wanted):
        return first
    found = [as_planned, first]
    if not first.kept:  # no pipe gives some head its margin: larger ones are past hope
        found += [attempt(least * share) for share in _SMALLER]
        return max(found, key=lambda one: one.rank)
    low = least
    for step in _LARGER:
        found.append(attempt(least + step))
        if found[-1].enough(wanted):
            return _least_enough(attempt, wanted, low, least + step, found[-1])
        if not found[-1].kept:
            break
        low = least + step
    return max(found, key=lambda one: one.rank)


def _least_enough(
    attempt: Callable[[float], Safer], wanted: float, low: float, high: float, found: Safer
) -> Safer:
    """Halve the step between margins too small and margins large enough, and return the least."""
    for _ in range(_HALVINGS):
        middle = (low + high) / 2.0
        tried = attempt(middle)
        if tried.enough(wanted):
            found, high = tried, middle
        else:
            low = middle
    return found


def _sized(margins: HeadMargins, line: Line, resize: Resize, chances: Chances) -> Safer:
    """Size with margins, those of outlets cut to what pipe can give where it cannot give them."""
    asked = np.array([margins.outlets[name] for name in line.outlets])
    wanted = asked
    for _ in range(_ROUNDS):
        sizes = resize(replace(margins, outlets=dict(zip(line.outlets, asked, strict=True))))
        heads = sizes.outlets.loc[list(line.outlets)]
        spare = (heads["residual_head_m"] - heads["needed_head_m"]).to_numpy(dtype=float)
        had = np.nan_to_num(spare, nan=0.0)
        short = had < asked - _SMALL_HEAD_M
        if not short.any():
            break
        asked = np.where(short, np.maximum(had - _SMALL_HEAD_M, 0.0), asked)
    fits = bool(sizes.pipes["outside_diameter_mm"].notna().any()) or sizes.pipes.empty
    kept = fits and not short.any() and bool((asked == wanted).all())
    # A scheme for which no pipe fits works nowhere, whatever its heads would be.
    return Safer(sizes, chances(sizes) if fits else np.zeros(len(asked)), kept)


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
    np.maximum.at(clearance, line.place, score * deviation - mean)
    np.maximum.at(rise, line.place, score * deviation + mean)
    parts = {
        str(name): slice(int(places.first[position]), int(places.first[position + 1]))
        for position, name in enumerate(network.pipes.index)
    }
    shift, spread = at_outlet
    wanted = np.maximum(score * spread - shift, 0.0)
    return HeadMargins(
        {name: float(margin) for name, margin in zip(line.outlets, wanted, strict=True)},
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
        "wanted": wanted, "feasible": 0.0,
        **dict.fromkeys(("least_chance", "chance_all", "pipe_cost", "extra_cost"), np.nan),
        "reason": "", "built": 0.0,
    }  # fmt: skip
    if not line.outlets:
        return {**record, "reason": words("confidence.design.no_outlet")}
    if found is None:
        return {**record, "least_chance": 0.0, "reason": words("confidence.design.no_pipe")}
    record["least_chance"] = found.rank[0]
    if found.enough(wanted):
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
        outlets=listed(short), count=len(short), chance=in_cases(found.rank[0]),
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
