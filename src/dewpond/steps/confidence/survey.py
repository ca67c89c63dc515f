"""Where a level taken on site settles most: the spots, best first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import owens_t

from dewpond.base.model import Heads, Network
from dewpond.base.settings import ConfidenceSettings
from dewpond.base.surface import FloatArray
from dewpond.steps.confidence.field import EXACT, Field, IntArray
from dewpond.steps.confidence.line import SOURCE_PLACE, Line, Places
from dewpond.steps.confidence.risks import Risks

# A spot that takes less than this share of the first doubt away is not worth the walk; common
# practice, no source.
_LEAST_SHARE = 0.01
_LEAST_DOUBT = 1e-4
# Least distance between spots looked at along a pipe [m]; common practice, no source.
_LEAST_SPACING_M = 25.0
# Outlets named beside a spot: so many at most, and none that it settles far less than the first.
_MOST_NAMES, _NEAR_GREATEST = 3, 0.3


@dataclass(frozen=True, eq=False)
class Ties:
    """How candidate spots bear on the outlets.

    Attributes
    ----------
    risks : Risks
    among : array of float, shape (spots, spots)
        Covariance of the errors at the spots, that of the survey itself left out.
    shared : array of float, shape (outlets, spots)
        Covariance of each outlet's spare with the error at each spot.
    survey_variance_m2 : float
        Of a level taken on site.
    """

    risks: Risks
    among: FloatArray
    shared: FloatArray
    survey_variance_m2: float


def make_ties(risks: Risks, field: Field, spots: IntArray, survey_deviation_m: float) -> Ties:
    """Return how spots, by their places, bear on the outlets."""
    at_place = field.covariance_m2(risks.place, spots)
    at_datum = field.covariance_m2(risks.datum, spots)
    return Ties(
        risks, field.covariance_m2(spots, spots), at_place - at_datum, survey_deviation_m**2
    )


def expected_doubts(ties: Ties, chosen: Sequence[int] | IntArray) -> FloatArray:
    """Return the doubt that is left at each outlet once levels are known at chosen spots.

    Doubt is the chance of an outlet times one less the chance. The levels themselves are not
    known yet, so what is returned is its expectation: with h the spare head in standard
    deviations and r the share of its variance that the levels explain, 2 T(h, a) with Owen's T and
    a = √((1 - r) / (1 + r)). For the chance after the survey is Φ of a normal variable, and the
    mean of its square the bivariate normal integral with correlation r (Owen 1956, Annals of
    Mathematical Statistics 27: 1075, from memory).

    Parameters
    ----------
    ties : Ties
    chosen : sequence of int
        Positions among the spots.

    Returns
    -------
    array of float, shape (outlets,)
    """
    picked = np.asarray(chosen, dtype=np.intp)
    among = ties.among[np.ix_(picked, picked)] + ties.survey_variance_m2 * np.eye(len(picked))
    shared = ties.shared[:, picked]
    # The least norm among equals: two spots may be one place.
    explained = np.einsum("os,so->o", shared, np.linalg.pinv(among, hermitian=True) @ shared.T)
    return _doubts(ties.risks, explained)


def choose_spots(ties: Ties, count: int) -> list[tuple[int, FloatArray, FloatArray]]:
    """Return the spots one after the other, each the one that leaves least doubt.

    Returns
    -------
    list of (int, array, array)
        Position among the spots, doubts of the outlets before and after it. Ends early where
        another spot settles next to nothing.
    """
    among, shared = ties.among.copy(), ties.shared.copy()
    explained = np.zeros(len(shared))
    before = _doubts(ties.risks, explained)
    first = float(before.sum())
    found: list[tuple[int, FloatArray, FloatArray]] = []
    while len(found) < min(count, among.shape[0]):
        variance = np.maximum(np.diag(among), 0.0) + ties.survey_variance_m2
        told = np.divide(shared**2, variance, out=np.zeros_like(shared), where=variance > 1e-12)
        after = _doubts(ties.risks, explained[:, None] + told)
        best = int(after.sum(axis=0).argmin())
        left = after[:, best]
        if before.sum() - left.sum() <= max(_LEAST_SHARE * first, _LEAST_DOUBT):
            break
        found.append((best, before, left))
        explained = explained + told[:, best]
        shared = shared - np.outer(shared[:, best], among[best]) / variance[best]
        among = among - np.outer(among[:, best], among[best]) / variance[best]
        before = left
    return found


def _doubts(risks: Risks, explained_m2: FloatArray) -> FloatArray:
    """Return expected doubts of outlets, explained variance of shape (outlets,) or (.., spots)."""
    column = (slice(None),) + (None,) * (explained_m2.ndim - 1)
    deviation = risks.deviation_m[column]
    sure = deviation <= 0.0
    safe = np.where(sure, 1.0, deviation)
    share = np.clip(explained_m2 / safe**2, 0.0, 1.0)
    spare = np.nan_to_num(risks.spare_m[column] / safe, nan=0.0, posinf=40.0, neginf=-40.0)
    doubt = 2.0 * owens_t(spare, np.sqrt((1.0 - share) / (1.0 + share)))
    return np.asarray(np.where(sure, 0.0, doubt))


def candidate_spots(
    line: Line, first: IntArray, easting_m: FloatArray, northing_m: FloatArray,
    summits: Sequence[Sequence[int]], spacing_m: float,
) -> IntArray:  # fmt: skip
    """Return the places worth a look: outlets, source, summits, and points along the pipes.

    Parameters
    ----------
    line : Line
    first : array of int, shape (pipes + 1,)
        Where the places of each pipe begin.
    easting_m, northing_m : array of float, shape (places,)
    summits : sequence of sequences of int
        Points of each pipe's section that are summits.
    spacing_m : float
        Least distance between points along one pipe.
    """
    spots = list(dict.fromkeys(line.outlet_place.tolist()))
    if line.source_datum != EXACT:
        spots.append(line.source_datum)
    for pipe, tops in enumerate(summits):
        spots += [int(first[pipe]) + int(top) for top in tops]
        inner = np.arange(first[pipe] + 1, first[pipe + 1] - 1)
        if not inner.size:
            continue
        step = np.hypot(np.diff(easting_m[first[pipe] : inner[-1] + 1]),
                        np.diff(northing_m[first[pipe] : inner[-1] + 1]))  # fmt: skip
        marks = np.floor(np.cumsum(step) / spacing_m)
        spots += inner[np.flatnonzero(np.diff(marks, prepend=0.0) > 0)].tolist()
    return np.array(list(dict.fromkeys(spots)), dtype=np.intp)


def survey_table(
    line: Line,
    field: Field,
    risks: Risks,
    places: Places,
    network: Network,
    heads: Heads,
    settings: ConfidenceSettings,
) -> pd.DataFrame:
    """Return the spots to level on site, best first, with what they settle."""
    summits = [heads.sections[str(name)].summits for name in network.pipes.index]
    spacing_m = max(field.error.short_range_m / 2.0, _LEAST_SPACING_M)
    spots = candidate_spots(
        line, places.first, places.easting_m, places.northing_m, summits, spacing_m
    )
    ties = make_ties(risks, field, spots, settings.survey_deviation_m)
    rows = []
    for spot, before, after in choose_spots(ties, settings.survey_points):
        at = int(spots[spot])
        rows.append((
            _name(at, line, places, network, heads),
            float(places.easting_m[at]),
            float(places.northing_m[at]),
            float(places.ground_m[at] - field.mean_m[at]),
            float(np.sqrt(field.variance_m2[at])),
            float(before.sum()),
            float(after.sum()),
            _settled(line.outlets, before - after),
        ))  # fmt: skip
    return pd.DataFrame(rows, index=pd.RangeIndex(1, len(rows) + 1), columns=[
        "name", "easting_m", "northing_m", "level_m", "deviation_m", "doubt_before",
        "doubt_after", "outlets",
    ])  # fmt: skip


def _settled(outlets: Sequence[str], fall: FloatArray) -> tuple[str, ...]:
    """Return the outlets that a level settles most: those near the greatest fall of doubt."""
    order = np.argsort(-fall, kind="stable")[:_MOST_NAMES]
    return tuple(outlets[at] for at in order if fall[at] >= _NEAR_GREATEST * fall[order[0]])


def _name(at: int, line: Line, places: Places, network: Network, heads: Heads) -> str:
    if at == SOURCE_PLACE:
        return "source"
    for name, place in zip(line.outlets, line.outlet_place.tolist(), strict=True):
        if place == at:
            return name
    pipe = int(np.searchsorted(places.first, at, side="right")) - 1
    name = str(network.pipes.index[pipe])
    end = str(network.pipes["to_node"].iloc[pipe])
    if at == places.first[pipe + 1] - 1:
        return end
    section = heads.sections[name]
    along = section.distance_m[at - int(places.first[pipe])] - section.distance_m[0]
    return f"{name} at {along:.0f} m"
