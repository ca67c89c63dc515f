"""What decides whether each outlet works: its own head, or the tightest place on the way."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from dewpond.base.surface import FloatArray
from dewpond.steps.confidence.field import Field, IntArray
from dewpond.steps.confidence.line import Line


@dataclass(frozen=True, eq=False)
class Risks:
    """What decides each outlet: its own head, or the tightest place on the way to it.

    Attributes
    ----------
    place, datum : array of int, shape (outlets,)
        Where, and the place that the level of the water there was set from.
    spare_m : array of float, shape (outlets,)
        Expected spare there [m]: the outlet works while it is not below zero.
    deviation_m : array of float, shape (outlets,)
        Its standard deviation.
    kind : tuple of str, length outlets
        "head" at the outlet, a "rise" on the way, or the "class" of the pipe there.
    """

    place: IntArray
    datum: IntArray
    spare_m: FloatArray
    deviation_m: FloatArray
    kind: tuple[str, ...]


def find_risks(line: Line, field: Field) -> Risks:
    """Return for each outlet the requirement it is least likely to meet, by its normal chance."""
    mean, deviation = field.heads_of(line.place, line.datum)
    spare = np.concatenate([line.over_m + mean, line.strength_m - mean])
    both = np.tile(deviation, 2)
    at_outlet, deviation_at = field.heads_of(line.outlet_place, line.outlet_datum)
    own = line.spare_m + at_outlet
    worst = _worst_on_the_way(line, _score(spare, both))
    place, datum = np.tile(line.place, 2), np.tile(line.datum, 2)
    on_way = worst >= 0
    at = np.where(on_way, worst, 0)
    decides = on_way.copy()
    if len(spare):
        decides &= _score(spare, both)[at] < _score(own, deviation_at)
        return Risks(
            np.where(decides, place[at], line.outlet_place),
            np.where(decides, datum[at], line.outlet_datum),
            np.where(decides, spare[at], own),
            np.where(decides, both[at], deviation_at),
            tuple(np.where(decides, np.where(at < len(mean), "rise", "class"), "head").tolist()),
        )
    heads = ("head",) * len(line.outlets)
    return Risks(line.outlet_place, line.outlet_datum, own, deviation_at, heads)


def _score(spare_m: FloatArray, deviation_m: FloatArray) -> FloatArray:
    """Return spare head in standard deviations: what its chance grows with."""
    sure = deviation_m <= 0.0
    finite = np.nan_to_num(spare_m, nan=0.0, posinf=1e6, neginf=-1e6)
    return np.asarray(
        np.where(sure, np.sign(finite) * 1e9 + finite, finite / np.where(sure, 1.0, deviation_m))
    )


def normal_chances(risks: Risks) -> FloatArray:
    """Return the chance of what decides each outlet, in closed form."""
    return np.asarray(ndtr(np.clip(_score(risks.spare_m, risks.deviation_m), -40.0, 40.0)))


def _worst_on_the_way(line: Line, score: FloatArray) -> IntArray:
    """Return for each outlet the row (both kinds in one) of least score before it, -1 for none."""
    rows = len(line.pipe)
    worst = np.full(len(line.parent), -1, dtype=np.intp)
    for pipe, above in enumerate(line.parent.tolist()):
        own = np.flatnonzero(line.pipe == pipe)
        own = np.concatenate([own, own + rows])
        candidates = [int(own[score[own].argmin()])]
        if above >= 0:
            candidates.append(int(worst[above]))
        worst[pipe] = min(candidates, key=lambda row: float(score[row]))
    if not len(worst):
        return np.full(len(line.outlets), -1, dtype=np.intp)
    at = np.where(line.outlet_pipe >= 0, line.outlet_pipe, 0)
    return np.asarray(np.where(line.outlet_pipe >= 0, worst[at], -1))
