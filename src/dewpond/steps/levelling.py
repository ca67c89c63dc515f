"""The ground brought to the levels that were taken on site."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from dewpond.base.heighterror import (
    ExpectedError,
    HeightError,
    KnownLevels,
    assumption,
    height_error,
)
from dewpond.base.model import Holding
from dewpond.base.settings import TerrainSettings
from dewpond.base.surface import Surface
from dewpond.base.words import words

# What a source's level is taken to be worth; common practice, no source.
_SOURCE_DEVIATION_M = 0.05
# A source's level farther from the raster than this many deviations of the height error is more
# likely a slip or another datum, which its own warning tells; it says nothing of the raster.
_MOST_DEVIATIONS = 5.0


def level_ground(holding: Holding, terrain: TerrainSettings) -> Holding:
    """Correct the ground to the levels taken on site, and keep what is known of its error.

    Parameters
    ----------
    holding : Holding
        With ``levels`` as read, and the sources, whose ``level_m`` are known levels too.
    terrain : TerrainSettings
        Says how far out the heights are and how alike that is from place to place.

    Returns
    -------
    Holding
        Its ``surface`` less the expected error (simple kriging with the covariance of the
        height error), so that it passes through every level to that level's own precision; and
        ``known_levels``, the error left there, for those who ask how sure the ground is. Without
        levels taken on site the surface is the very same: a source's level alone does not move
        the ground that a plan is drawn on, but it is kept among the known ones.
    """
    surface = holding.surface
    error = height_error(terrain, surface.posting_m)
    known = _known(holding, error)
    if known is None:
        return holding
    if holding.levels.empty:
        return replace(holding, known_levels=known)
    levelled = replace(surface, error_m=ExpectedError(error, known))
    # What was expected of the error is off the ground now: the error left is zero on average.
    left = replace(known, error_m=np.zeros(len(known)))
    assumed = assumption(terrain, error)
    return replace(
        holding,
        surface=levelled,
        known_levels=left,
        repairs=(*holding.repairs, _told(holding.levels, surface, error)),
        warnings=holding.warnings + ((assumed,) if assumed else ()),
    )


def _known(holding: Holding, error: HeightError) -> KnownLevels | None:
    """Return every known level with the error of the raster there; None without any."""
    taken = holding.levels.assign(most_m=np.inf)
    at_sources = pd.DataFrame(
        {
            "easting_m": source.easting_m,
            "northing_m": source.northing_m,
            "level_m": source.settings.level_m,
            "deviation_m": _SOURCE_DEVIATION_M,
            "most_m": _MOST_DEVIATIONS * error.standard_deviation_m,
        }
        for source in holding.sources
        if source.settings.level_m is not None
    )
    columns = ["easting_m", "northing_m", "level_m", "deviation_m", "most_m"]
    tables = [table[columns].to_numpy(np.float64) for table in (taken, at_sources) if len(table)]
    if not tables:
        return None
    easting, northing, level, deviation, most = np.vstack(tables).T
    off = holding.surface.heights_m(easting, northing) - level
    kept = np.abs(off) <= most
    if not kept.any():
        return None
    return KnownLevels(easting[kept], northing[kept], off[kept], deviation[kept])


def _told(levels: pd.DataFrame, surface: Surface, error: HeightError) -> str:
    """Say in a sentence what the levels did to the ground."""
    before = surface.heights_m(levels["easting_m"], levels["northing_m"])
    off = before - levels["level_m"].to_numpy(dtype=np.float64)
    return words(
        "levels.corrected",
        count=len(off), least=f"{off.min():+.2f}", most=f"{off.max():+.2f}",
        data_class=error.data_class, deviation_m=error.standard_deviation_m,
        range_m=error.short_range_m,
    )  # fmt: skip
