"""Levels taken on site held against each other and against the elevation."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.spatial import cKDTree

from dewpond.base.heighterror import height_error
from dewpond.base.settings import TerrainSettings
from dewpond.base.surface import FloatArray, Surface
from dewpond.base.units import METRES_PER_FOOT
from dewpond.base.words import words
from dewpond.steps.read.notes import Notes, listed

_ONE_PLACE_M = 0.05
_DOUBTFUL_DEVIATIONS = 4.0
_ABSURD_DEVIATIONS = 10.0
_ABSURD_M = 10.0
"""Common practice, no source: beyond four deviations (one in 16,000 by chance) a level is named
as doubtful; beyond ten, and ten metres, it is refused, for no correction would be true to it."""


def check_levels(
    levels: pd.DataFrame, surface: Surface, terrain: TerrainSettings, notes: Notes
) -> pd.DataFrame:
    """Return the levels without their labels; what cannot be used is a fault, doubt a warning.

    Faults are a level outside the elevation, two at one place, one name twice, and a level so far
    from the raster that a unit, a datum or a place must be wrong.
    """
    _refuse_repeated(levels, notes)
    raster_m = surface.heights_m(levels["easting_m"], levels["northing_m"])
    for row in np.flatnonzero(np.isnan(raster_m)):
        notes.fault(
            str(levels["label"].iloc[row]),
            "lies where no elevation raster has a height, or far from the holding",
            found=f"easting {levels['easting_m'].iloc[row]:.1f}, northing "
            f"{levels['northing_m'].iloc[row]:.1f} in the working CRS",
            expected="a place at or near the paddocks",
            remedy="check the order of the coordinates and their CRS, or take it out",
        )
    _judge(levels, raster_m, terrain, surface.posting_m, notes)
    return levels.drop(columns="label").reset_index(drop=True)


def _refuse_repeated(levels: pd.DataFrame, notes: Notes) -> None:
    named = levels[levels["name"] != ""]
    for name, rows in named.groupby("name", sort=False):
        if len(rows) > 1:
            notes.fault(
                str(rows["label"].iloc[1]), f'the name "{name}" stands {len(rows)} times',
                remedy="give each level its own name, or take the worse one out",
            )  # fmt: skip
    places = levels[["easting_m", "northing_m"]].to_numpy(float)
    for one, other in sorted(cKDTree(places).query_pairs(_ONE_PLACE_M)):
        notes.fault(
            str(levels["label"].iloc[other]),
            "stands at the very place of another level",
            found=f"{levels['level_m'].iloc[other]:.2f} m, and {levels['level_m'].iloc[one]:.2f} m"
            f" in {levels['label'].iloc[one]}",
            expected="one level at a place",
            remedy="keep the better one, or their mean",
        )


def _judge(
    levels: pd.DataFrame,
    raster_m: FloatArray,
    terrain: TerrainSettings,
    posting_m: float,
    notes: Notes,
) -> None:
    error = height_error(terrain, posting_m)
    level = levels["level_m"].to_numpy(float)
    off = raster_m - level
    deviation = np.hypot(error.standard_deviation_m, levels["deviation_m"].to_numpy(float))
    share = np.abs(off) / deviation
    absurd = (share > _ABSURD_DEVIATIONS) & (np.abs(off) > _ABSURD_M)
    remedy = _remedy(off, level, raster_m)
    for row in np.flatnonzero(absurd):
        notes.fault(
            str(levels["label"].iloc[row]),
            "lies absurdly far from the elevation raster",
            found=f"level {level[row]:.2f} m, raster {raster_m[row]:.2f} m",
            expected=f"within {max(_ABSURD_DEVIATIONS * deviation[row], _ABSURD_M):.1f} m",
            remedy=remedy,
        )
    doubtful = np.flatnonzero((share > _DOUBTFUL_DEVIATIONS) & ~absurd)
    if doubtful.size:
        spelled = (
            words(
                "data.level_checks.off_the_raster",
                place=levels["label"].iloc[row],
                off_m=-off[row],
            )
            for row in doubtful
        )
        notes.warnings.append(
            words(
                "levels.doubtful",
                deviations=_DOUBTFUL_DEVIATIONS, levels=listed(spelled), remedy=remedy,
            )
        )  # fmt: skip


def _remedy(off: FloatArray, level: FloatArray, raster_m: FloatArray) -> str:
    """Say what may be wrong, from how all the levels lie to the raster."""
    known = off[np.isfinite(off)]
    middle = float(np.median(known)) if known.size else 0.0
    spread = float(np.median(np.abs(known - middle))) if known.size else 0.0
    if np.nanmedian(np.abs(raster_m - level * METRES_PER_FOOT)) < 0.1 * np.nanmedian(np.abs(off)):
        return words("levels.feet")
    if known.size > 1 and abs(middle) > max(5 * spread, 1.0):
        return words("levels.all_together", off=f"{-middle:+.1f}")
    return words("levels.check")
