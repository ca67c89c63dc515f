"""Many errors on one holding: outlets, pipe and sizes laid once, promises made for each error.

Outlets, pipe and sizes are chosen on the heights without the error laid on, as if a planner had
walked the ground. Then, for each error, the tank is raised or lowered so that the heights in hand
leave the head wanted, and the package's own simulation says how often each outlet works.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from height_shapes import SHAPES, draw_error
from height_trials import (
    Case,
    Site,
    cell_m,
    head_in_hand_m,
    highest_m,
    lay_site,
    planned,
    project_tables,
    stand_tank,
    steep,
    works_on_truth,
)
from scipy.spatial import cKDTree

from dewpond import DewpondError, Plan
from dewpond.base.heighterror import ErrorPoints, KnownLevels, height_error, kriging_weights
from dewpond.base.settings import TerrainSettings
from dewpond.base.surface import Grid, Surface, interpolate
from dewpond.steps.confidence.chances import outcomes
from dewpond.steps.confidence.field import Field
from dewpond.steps.confidence.line import SOURCE_PLACE, Line, Places, make_line, make_places

LEVEL_DEVIATION_M = 0.05
DRAWS = 1_000
ERRORS_A_HOLDING = 4
NOTHING = KnownLevels(np.empty(0), np.empty(0), np.empty(0), np.empty(0))


@dataclass(frozen=True, eq=False)
class Laid:
    """A scheme laid on the heights without an error, as rows along its pipe."""

    plan: Plan
    site: Site
    places: Places
    line: Line
    slope: np.ndarray  # at the places, rise over run
    off_m: np.ndarray  # heights without the error laid on, less the truth, at the places

    @property
    def points(self) -> ErrorPoints:
        return ErrorPoints(self.places.easting_m, self.places.northing_m, self.slope)


def run_fixed(cases: Sequence[Case], number: int) -> list[dict[str, Any]]:
    """Return the records of each case; all of ``cases`` are on the same kind of ground."""
    layout = np.random.default_rng([number, 1])
    site = lay_site(number, cases[0], layout)
    record = {"ground": site.ground.name, "trial": number}
    if steep(site):
        return [{**record, "case": case.name, "reason": "steep ground"} for case in cases]
    tables = project_tables(site, cases[0], layout)
    share = layout.uniform(-0.3, 2.8, ERRORS_A_HOLDING)
    level_m = highest_m(site) + 2.0 + 2.0 * head_in_hand_m(tables, layout)
    try:
        plan = planned(site, tables, stand_tank(site, level_m, layout.uniform(-5, 5, 2)))
    except DewpondError as error:
        return [{**record, "case": case.name, "reason": str(error)[:80]} for case in cases]
    sizes = plan.scheme.sizes
    if sizes.pipes["outside_diameter_mm"].isna().any():
        return [{**record, "case": case.name, "reason": "no pipe fits"} for case in cases]
    if len(sizes.breaks):
        return [{**record, "case": case.name, "reason": "pressure breaks"} for case in cases]
    laid = _laid(plan, site)
    return [
        {**record, "case": case.name, **found}
        for case in cases
        for found in _promises(laid, case, number, share, int(layout.integers(len(sizes.outlets))))
    ]


def _laid(plan: Plan, site: Site) -> Laid:
    scheme = plan.scheme
    places = make_places(scheme.network, scheme.heads)
    line = make_line(
        scheme.network, scheme.heads, 0.0, scheme.sizes, plan.project.pipe, places, SOURCE_PLACE
    )
    at = places.easting_m, places.northing_m
    slope = np.tan(np.radians(interpolate(plan.terrain.slope_degrees, *at)))
    off = plan.holding.surface.heights_m(*at) - site.ground.surface.heights_m(*at)
    return Laid(plan, site, places, line, slope, off)


def _promises(
    laid: Laid, case: Case, number: int, share: np.ndarray, pick: int
) -> list[dict[str, Any]]:
    """Return what is promised with each of a few errors, and what happens on the truth."""
    terrain = {"height_data": laid.site.ground.data_class, **dict(case.terrain)}
    error = height_error(TerrainSettings(**terrain), 30.0)
    head_m = error.standard_deviation_m * np.sqrt(2 * (1 - error.long_share))
    known = NOTHING
    if case.levelled:  # less is in doubt, so less is left in hand
        known, head_m = _known(laid), 0.3 * head_m
    draws = Field(error, laid.points, known).draws_m(DRAWS, 1)
    weights = kriging_weights(error, laid.points, known)
    scheme = laid.plan.scheme
    found = []
    for repeat, in_hand in enumerate(share if case.shape else share[:1]):
        noise = np.random.default_rng([number, repeat, zlib.crc32(case.shape.encode())])
        laid_on = _error_at_places(laid, case, noise)
        if case.levelled:
            level = (laid_on + laid.off_m)[_levelled(laid)]
            level = level + noise.normal(0, LEVEL_DEVIATION_M, level.size)
            laid_on = laid_on - weights @ level
        line, lift_m = _in_hand(laid.line, laid_on, in_hand * head_m)
        seen = outcomes(line, draws)
        works, true_spare = works_on_truth(
            laid.plan.holding, scheme.network, scheme.heads, scheme.sizes, laid.site.ground, lift_m
        )
        spare = line.spare_m[pick] + seen.gained_m[:, pick]
        low, high = np.quantile(spare, [0.05, 0.95])
        found.append(
            {
                "reason": "",
                "outlets": len(works),
                "chance_all": float(seen.works.all(axis=1).mean()),
                "all": bool(works.all()),
                "chance_one": float(seen.works[:, pick].mean()),
                "one": bool(works[pick]),
                "low_m": float(low),
                "high_m": float(high),
                "true_m": float(true_spare[pick]),
            }
        )
    return found


def _error_at_places(laid: Laid, case: Case, noise: np.random.Generator) -> np.ndarray:
    """Draw an error on the cells around the pipe and take it at the places, bilinear."""
    if not case.shape:
        return np.zeros(len(laid.slope))
    site = laid.site
    heights = site.clean.values
    at = np.column_stack([laid.places.easting_m, laid.places.northing_m])
    away, _ = cKDTree(at).query(site.cells)
    near = away <= 1.6 * cell_m(site.ground).max()
    slope = np.hypot(*np.gradient(heights, *cell_m(site.ground))).ravel()
    error = np.full(heights.size, np.nan)
    error[near] = draw_error(SHAPES[case.shape], *site.cells[near].T, slope[near], noise)
    grid = Grid(error.reshape(heights.shape), site.clean.transform, site.clean.crs)
    found = Surface((grid,), site.ground.crs, 1.0).heights_m(*at.T)
    assert np.isfinite(found).all()
    return found


def _in_hand(line: Line, error_m: np.ndarray, in_hand_m: float) -> tuple[Line, float]:
    """Return the scheme as the heights in hand have it, its tank lifted to the head wanted."""
    sunk = error_m[line.datum] - error_m[line.place]
    spare = line.spare_m + error_m[line.outlet_datum] - error_m[line.outlet_place]
    over = line.over_m + sunk
    lift_m = in_hand_m - min(float(spare.min()), float(over.min(initial=np.inf)))
    changed = replace(
        line, over_m=over + lift_m, margin_m=line.margin_m + sunk + lift_m,
        strength_m=line.strength_m - sunk - lift_m, spare_m=spare + lift_m,
    )  # fmt: skip
    return changed, lift_m


def _levelled(laid: Laid) -> np.ndarray:
    """Return the tank and the two outlets with least head, as positions among the places."""
    order = np.argsort(laid.line.spare_m, kind="stable")[:2]
    return np.concatenate([[SOURCE_PLACE], laid.line.outlet_place[order]])


def _known(laid: Laid) -> KnownLevels:
    at = _levelled(laid)
    return KnownLevels(
        laid.places.easting_m[at], laid.places.northing_m[at], np.zeros(at.size),
        np.full(at.size, LEVEL_DEVIATION_M), laid.slope[at],
    )  # fmt: skip
