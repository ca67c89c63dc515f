"""A place on the ground for a header tank: near the pipe, and high enough for every outlet."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely

from dewpond.base.model import Holding, Network
from dewpond.base.settings import SupplySettings
from dewpond.base.sources import allowed_friction_m
from dewpond.base.surface import FloatArray

IntArray = npt.NDArray[np.intp]

_MOST_PLACES = 40_000
_LEAST_SPACING_M = 10.0


@dataclass(frozen=True)
class TankSite:
    """A place for a tank.

    Attributes
    ----------
    easting_m, northing_m : float
    ground_level_m, water_level_m : float
        Datum of the elevation [m].
    distance_m : float
        To the nearest pipe or node of the scheme.
    paddock : str
        Name of the paddock it lies in, empty outside all.
    """

    easting_m: float
    northing_m: float
    ground_level_m: float
    water_level_m: float
    distance_m: float
    paddock: str


def find_tank_site(
    holding: Holding, network: Network, level_m: float, supply: SupplySettings
) -> tuple[TankSite | None, float]:
    """Return the place nearest to the pipe from which a tank commands the scheme.

    Parameters
    ----------
    holding : Holding
        Its ground is searched on a grid over the paddocks and so far round them as is set.
    network : Network
    level_m : float
        Level that the scheme needs where its pipe begins [m].
    supply : SupplySettings
        Height of the water over the ground, head to spare, distance of the search, and the
        allowance for friction on the way from the tank to the pipe.

    Returns
    -------
    site : TankSite or None
        Of places equally near, the lower; None where none is high enough.
    lacking_m : float
        By how much the best place stands too low; 0 with a site, inf where no ground is known.
    """
    easting, northing, paddock = _places(holding, supply.tank_search_m)
    ground = holding.surface.heights_m(easting, northing)
    points = shapely.points(easting, northing)
    lines = [*network.pipes.geometry, *network.nodes.geometry]
    distance = shapely.distance(points, shapely.union_all(lines))
    allowance = allowed_friction_m(supply, distance)
    water = ground + supply.tank_water_above_ground_m
    spare = water - allowance - (level_m + supply.tank_margin_m)
    known = np.isfinite(spare)
    if not known.any():
        return None, float("inf")
    enough = np.flatnonzero(known & (spare >= 0.0))
    if not enough.size:
        return None, float(-spare[known].max())
    best = enough[np.lexsort((ground[enough], distance[enough]))[0]]
    names = holding.paddocks["name"]
    site = TankSite(
        float(easting[best]),
        float(northing[best]),
        float(ground[best]),
        float(water[best]),
        float(distance[best]),
        str(names.iloc[paddock[best]]) if paddock[best] >= 0 else "",
    )
    return site, 0.0


def _places(holding: Holding, reach_m: float) -> tuple[FloatArray, FloatArray, IntArray]:
    """Return places on a grid near the paddocks, out of keep-outs, with the paddock of each."""
    shapes = holding.paddocks.geometry.to_numpy()
    west, south, east, north = shapely.total_bounds(shapes)
    width, height = east - west + 2 * reach_m, north - south + 2 * reach_m
    spacing = max(_LEAST_SPACING_M, holding.surface.posting_m)
    spacing = max(spacing, float(np.sqrt(width * height / _MOST_PLACES)))
    easting, northing = np.meshgrid(
        np.arange(west - reach_m + spacing / 2, east + reach_m, spacing),
        np.arange(south - reach_m + spacing / 2, north + reach_m, spacing),
    )
    points = shapely.points(easting.ravel(), northing.ravel())
    tree = shapely.STRtree(shapes)
    near = np.zeros(points.size, dtype=bool)
    near[tree.query(points, predicate="dwithin", distance=reach_m)[0]] = True
    barred = holding.features.keep_out.geometry.to_numpy()
    if barred.size:
        near[shapely.STRtree(barred).query(points, predicate="intersects")[0]] = False
    inside = np.full(points.size, -1, dtype=np.intp)
    point, shape = tree.query(points, predicate="intersects")
    inside[point[::-1]] = shape[::-1]
    return easting.ravel()[near], northing.ravel()[near], inside[near]
