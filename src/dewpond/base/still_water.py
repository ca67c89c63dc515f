"""The level of still water at a source: how high its water could stand in a pipe without flow."""

from __future__ import annotations

import numpy as np

from dewpond.base.errors import Fault, InputError
from dewpond.base.model import Source
from dewpond.base.surface import Surface
from dewpond.base.units import head_m_from_bar
from dewpond.base.words import words

# Sources whose water runs out by its own weight or pressure unless a pump is given.
_BY_ITSELF = ("mains", "header_tank", "spring", "surface_water")


def still_water(source: Source, surface: Surface) -> tuple[float, str]:
    """Return the level of still water [m, datum of the surface] and a sentence on its origin.

    The level of the ground (given, or else from the surface), plus the height of the water above
    it, plus, for a main, the head of its static pressure.

    Raises
    ------
    InputError
        When the ground at the source is neither given nor known to any raster.
    """
    ground_m, ground_reason = ground_level(source, surface)
    above_m = source.settings.height_above_ground_m or 0.0
    parts = [ground_reason]
    if above_m:
        parts.append(words("heads.still_water.above_ground", above_m=above_m))
    level_m = ground_m + above_m
    pressure_bar = source.settings.static_pressure_bar
    if source.settings.kind == "mains" and pressure_bar is not None:
        head_m = head_m_from_bar(pressure_bar)
        level_m += head_m
        parts.append(
            words("heads.still_water.head_of_pressure", head_m=head_m, pressure_bar=pressure_bar)
        )
    return level_m, words(
        "heads.still_water.level_in_all",
        name=source.name,
        names=" + ".join(parts),
        level_m=level_m,
    )


def level_that_binds(source: Source, surface: Surface) -> float:
    """Return the level that water from a source cannot pass [m]; inf where nothing says.

    A pump lifts as high as it is chosen to; a main without a measured pressure, or a source
    whose ground level nobody knows, sets no limit that could be relied on.
    """
    settings = source.settings
    if settings.pump is not None or settings.kind not in _BY_ITSELF:
        return np.inf
    if settings.kind == "mains" and settings.static_pressure_bar is None:
        return np.inf
    try:
        return still_water(source, surface)[0]
    except InputError:
        return np.inf


def ground_level(source: Source, surface: Surface) -> tuple[float, str]:
    """Return the ground level at a source [m] and its origin: as given, or else the surface.

    Raises
    ------
    InputError
        Where no level is given and no raster knows the place.
    """
    if source.settings.level_m is not None:
        return source.settings.level_m, words(
            "heads.still_water.ground_as_given", level_m=source.settings.level_m
        )
    level_m = float(surface.heights_m(source.easting_m, source.northing_m))
    if np.isnan(level_m):
        raise InputError([Fault(
            f'[[source]] "{source.name}"',
            "stands where no elevation raster has a height",
            remedy="give its ground level as level_m, or a raster that reaches it",
        )])  # fmt: skip
    return level_m, words("heads.still_water.ground_from_raster", level_m=level_m)
