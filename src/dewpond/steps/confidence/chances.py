"""How often each outlet, each requirement and the whole scheme works, by simulation."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from dewpond.base.surface import FloatArray
from dewpond.steps.confidence.field import EXACT, IntArray
from dewpond.steps.confidence.line import Line

BoolArray = npt.NDArray[np.bool_]

LOW_SHARE, HIGH_SHARE = 0.05, 0.95
# A millimetre of head is rounding.
_ROUNDING_M = 0.001

AT_REST = "Water at rest stands above every outlet"
DELIVERED = "Every outlet gets its design flow with the mobs at their worst places"
OVER_GROUND = "Water stands over the ground along every pipe"
WITHIN_CLASS = "Pressure within the class of every pipe"
"""The requirements that heights bear on, as the verdicts name them."""


@dataclass(frozen=True, eq=False)
class Outcomes:
    """What holds in each draw of the errors.

    Attributes
    ----------
    gained_m : array of float, shape (draws, outlets)
        What water gains over the ground at each outlet, against the best guess.
    flow, pipe : array of bool, shape (draws, outlets)
        Whether each outlet has its head, and whether its water passes all pipe on the way.
    requirements : mapping of str to array of bool, shape (draws,)
    """

    gained_m: FloatArray
    flow: BoolArray
    pipe: BoolArray
    requirements: Mapping[str, BoolArray]

    @property
    def works(self) -> BoolArray:
        """Whether each outlet works, shape (draws, outlets)."""
        return self.flow & self.pipe


def outcomes(line: Line, errors_m: FloatArray) -> Outcomes:
    """Hold a scheme against errors of its heights.

    Parameters
    ----------
    line : Line
    errors_m : array of float, shape (draws, places)
        Raster less ground.
    """
    gained = _gained(errors_m, line.place, line.datum)
    over = line.over_m + gained >= -_ROUNDING_M
    within = line.strength_m - gained >= -_ROUNDING_M
    passes = _on_the_way(_by_pipe(over & within, line), line)
    wet = _on_the_way(_by_pipe(over, line), line)
    gained_at = _gained(errors_m, line.outlet_place, line.outlet_datum)
    flow = line.spare_m + gained_at >= -_ROUNDING_M
    at_source = np.full(len(line.outlets), line.source_datum, dtype=np.intp)
    rest = line.static_m + _gained(errors_m, line.outlet_place, at_source)
    return Outcomes(
        gained_at,
        flow,
        passes,
        {
            AT_REST: np.all(rest > 0.0, axis=1),
            DELIVERED: np.all(flow & wet, axis=1),
            OVER_GROUND: np.all(line.margin_m + gained >= -_ROUNDING_M, axis=1),
            WITHIN_CLASS: np.all(within, axis=1),
        },
    )


def outlet_table(line: Line, found: Outcomes) -> pd.DataFrame:
    """Return chances and spare heads of the outlets."""
    low, high = np.quantile(found.gained_m, [LOW_SHARE, HIGH_SHARE], axis=0)
    # An outlet that no pipe leads to has no head at all, not one that is short without end.
    spare_m = np.where(np.isfinite(line.spare_m), line.spare_m, np.nan)
    return pd.DataFrame(
        {
            "chance_flow": found.flow.mean(axis=0),
            "chance_pipe": found.pipe.mean(axis=0),
            "chance": found.works.mean(axis=0),
            "spare_head_m": spare_m,
            "spare_head_low_m": spare_m + low,
            "spare_head_high_m": spare_m + high,
            "spare_head_deviation_m": found.gained_m.std(axis=0),
        },
        index=pd.Index(line.outlets, dtype=object),
    )


def requirement_table(line: Line, found: Outcomes, places: int, fits: bool) -> pd.DataFrame:
    """Return the chance of each requirement, and whether the best guess meets it.

    Where no pipe fits there is no class to keep within.
    """
    guess = outcomes(line, np.zeros((1, places))).requirements
    names = [name for name in found.requirements if fits or name != WITHIN_CLASS]
    return pd.DataFrame(
        {
            "chance": [float(found.requirements[name].mean()) for name in names],
            "met": [bool(guess[name][0]) for name in names],
        },
        index=pd.Index(names, dtype=object),
    )


def _gained(errors_m: FloatArray, place: IntArray, datum: IntArray) -> FloatArray:
    """Return the height that water gains over the ground, shape (draws, rows)."""
    at_datum = np.where(datum == EXACT, 0.0, errors_m[:, datum])
    return np.asarray(errors_m[:, place] - at_datum)


def _by_pipe(holds: BoolArray, line: Line) -> BoolArray:
    """Return whether something holds on every row of each pipe, shape (draws, pipes)."""
    if not len(line.parent):
        return np.ones((len(holds), 0), dtype=bool)
    first = np.searchsorted(line.pipe, np.arange(len(line.parent)))
    return np.asarray(np.logical_and.reduceat(holds, first, axis=1))


def _on_the_way(holds: BoolArray, line: Line) -> BoolArray:
    """Return whether something holds on every pipe on the way to each outlet."""
    way = holds.copy()
    for pipe, above in enumerate(line.parent.tolist()):
        if above >= 0:
            way[:, pipe] &= way[:, above]
    at = np.where(line.outlet_pipe >= 0, line.outlet_pipe, 0)
    if not way.shape[1]:
        return np.ones((len(holds), len(line.outlets)), dtype=bool)
    return np.asarray(np.where(line.outlet_pipe >= 0, way[:, at], True))
