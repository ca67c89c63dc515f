"""Which paddocks need places away from the fence, and how close together those are tried."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely

from dewpond.base.model import Holding
from dewpond.base.settings import DesignSettings, SitingSettings
from dewpond.base.units import SQUARE_METRES_PER_HECTARE
from dewpond.base.words import words
from dewpond.steps.candidates.places import inside_places

# What follows is common practice, no source. Places as close as a quarter of the reach of an
# outlet leave all the choice there is, and places three quarters of it apart enough to cover the
# ground with few; between the two, so many in a paddock that the choice stays quick. In huge
# paddocks they are tried farther apart, to keep below the most.
_CLOSEST_REACHES = 0.25
_WIDEST_REACHES = 0.75
_QUICK_PLACES = 100
_MOST_PLACES = 400
# Discs on a square lattice no wider than this many radii cover the plane.
_COVERS_RADII = math.sqrt(2.0)
_QUARTER_SEGMENTS = 16
# Spacings that differ by less are equal [share].
_ROUNDING = 1e-3


@dataclass(frozen=True, eq=False)
class InsidePlaces:
    """Places within paddocks as in `places`, and what the reader should know of them."""

    places: pd.DataFrame
    warnings: tuple[str, ...] = ()


def places_within(
    holding: Holding,
    siting: SitingSettings,
    design: DesignSettings,
    fenced: pd.DataFrame,
    cell_m: float,
) -> InsidePlaces:
    """Return the places to try within paddocks.

    Where ``siting.inside`` is left out these are paddocks whose stock drink on a hose, and those
    of which a spot at least a cell wide lies farther from every place on the fence than a walk.

    Parameters
    ----------
    fenced : DataFrame
        Places along fences, and those the user named, that pass the rules.
    cell_m : float
        Cell of the walking grid [m].
    """
    if siting.inside is not None:
        chosen = list(holding.grazed) if siting.inside else []
        return InsidePlaces(inside_places(holding.paddocks.loc[chosen], siting.spacing_m))
    reach_m = design.walk_limit_m + (design.hose_m if design.trough == "mobile" else 0.0)
    wide = _too_wide(holding, fenced, reach_m, cell_m)
    lattices = {paddock: _step_m(holding, paddock, siting, reach_m) for paddock in wide}
    hopeless = [p for p, step_m in lattices.items() if step_m > _COVERS_RADII * reach_m]
    hosed = [paddock for paddock in _hosed(holding, design) if paddock not in lattices]
    frames = [
        inside_places(holding.paddocks.loc[[paddock]], step_m)
        for paddock, step_m in lattices.items()
        if paddock not in hopeless
    ]
    frames = [inside_places(holding.paddocks.loc[hosed], siting.spacing_m), *frames]
    held = [frame for frame in frames if len(frame)] or frames[:1]
    return InsidePlaces(
        pd.concat(held, ignore_index=True),
        (*_about_hopeless(holding, hopeless, design, reach_m),
         *_about_coarse(holding, lattices, hopeless, reach_m)),
    )  # fmt: skip


def _hosed(holding: Holding, design: DesignSettings) -> list[int]:
    """Return the grazed paddocks whose stock all drink from a trough on a hose, ascending."""
    if design.hose_m <= 0:
        return []
    fixed = {
        paddock
        for mob in holding.mobs
        if (mob.settings.trough or design.trough) == "fixed"
        for paddock in mob.paddocks
    }
    return [paddock for paddock in holding.grazed if paddock not in fixed]


def _too_wide(holding: Holding, fenced: pd.DataFrame, reach_m: float, cell_m: float) -> list[int]:
    """Return the grazed paddocks with ground beyond a straight walk from every fenced place."""
    grazed = np.array(holding.grazed, dtype=np.intp)
    pairs = fenced["paddocks"].explode().dropna().astype(np.intp)
    points = shapely.points(fenced["easting_m"], fenced["northing_m"])[pairs.index]
    # The polygon that stands for the disc holds the disc, so its edge leaves no slivers.
    radius_m = reach_m / math.cos(math.pi / 4 / _QUARTER_SEGMENTS)
    return [
        int(paddock)
        for paddock in grazed
        if _leaves_ground(
            holding.paddocks.geometry.loc[paddock], points[pairs == paddock], radius_m, cell_m
        )
    ]


def _leaves_ground(
    shape: shapely.Geometry, points: npt.NDArray[np.object_], radius_m: float, cell_m: float
) -> bool:
    """Tell whether discs about points leave a spot of a shape that is at least a cell wide."""
    if len(points):
        corners = shapely.points(shapely.get_coordinates(shapely.convex_hull(shape)))
        # Most paddocks lie whole within the reach of one place.
        if shapely.distance(corners[:, None], points).max(axis=0).min() <= radius_m:
            return False
    discs = shapely.union_all(shapely.buffer(points, radius_m, quad_segs=_QUARTER_SEGMENTS))
    left = shapely.buffer(shapely.difference(shape, discs), -cell_m / 2)
    return not shapely.is_empty(left)


def _step_m(holding: Holding, paddock: int, siting: SitingSettings, reach_m: float) -> float:
    """Return the spacing of places in a paddock too wide for its fences [m]."""
    area_m2 = float(holding.paddocks.geometry.loc[paddock].area)
    closest_m = max(siting.spacing_m, _CLOSEST_REACHES * reach_m)
    quick_m = max(closest_m, math.sqrt(area_m2 / _QUICK_PLACES))
    return max(min(quick_m, _WIDEST_REACHES * reach_m), math.sqrt(area_m2 / _MOST_PLACES))


def _about_hopeless(
    holding: Holding, hopeless: Sequence[int], design: DesignSettings, reach_m: float
) -> list[str]:
    if not hopeless:
        return []
    area_m2 = float(holding.paddocks.geometry.loc[list(hopeless)].area.sum())
    least = math.ceil(area_m2 / (math.pi * reach_m**2))
    return [
        words(
            "candidates.inside.walk_too_short",
            names=_names(holding.paddocks, hopeless),
            walk_limit_m=design.walk_limit_m,
            area_m2=area_m2 / SQUARE_METRES_PER_HECTARE,
            least=least,
            most_places=_MOST_PLACES,
        )
    ]


def _about_coarse(
    holding: Holding, lattices: dict[int, float], hopeless: Sequence[int], reach_m: float
) -> list[str]:
    widest_m = _WIDEST_REACHES * reach_m * (1 + _ROUNDING)
    coarse = {p: step for p, step in lattices.items() if step > widest_m and p not in hopeless}
    if not coarse:
        return []
    return [
        words(
            "candidates.inside.places_far_apart",
            names=_names(holding.paddocks, list(coarse)),
            most=max(coarse.values()),
            reach_m=reach_m,
            most_places=_MOST_PLACES,
        )
    ]


def _names(paddocks: gpd.GeoDataFrame, ids: Sequence[int], most: int = 5) -> str:
    names = [str(name) for name in paddocks["name"].loc[list(ids)]]
    more = (
        words("candidates.inside.and_more", count=len(names) - most) if len(names) > most else ""
    )
    return ", ".join(names[:most]) + more
