"""Who may build what where: sites and corridor edges that the tenure of paddocks leaves open.

Owned ground takes any works. On portable-only ground nothing may be buried or stand fixed, and on
rented ground likewise unless the landlord consents. Ground under a wayleave is as portable-only,
and pipe over it pays by the metre. Along a shared fence the works stand on the side that allows
more; off the paddocks nothing binds.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely

from dewpond.base.model import Candidates, Corridors, Holding
from dewpond.base.parcels import length_only_on_m
from dewpond.base.settings import DesignSettings, LayoutSettings
from dewpond.base.surface import FloatArray

BoolArray = npt.NDArray[np.bool_]

# Works along the edge of a paddock stand on it up to this far outside: as the widest gap that
# two drawings of one fence leave between them unless it is set otherwise [m].
_BESIDE_M = 3.0
# Less pipe than this on ground is a touch of its corner [m].
_TOUCH_M = 1.0


@dataclass(frozen=True, eq=False)
class PipeTenure:
    """Which edges pipe may take, and how much of each pays a wayleave [m]; shape (m edges,)."""

    allowed: BoolArray
    wayleave_m: FloatArray


def site_tenure(
    holding: Holding, candidates: Candidates, layout: LayoutSettings, design: DesignSettings
) -> BoolArray:
    """Tell which sites may carry an outlet, shape (n sites,)."""
    allowed = np.ones(len(candidates.sites), dtype=np.bool_)
    bound = _paddocks_that_forbid_works(holding, layout)
    if not len(bound) or not _fixed_troughs(holding, design):
        return allowed
    free = np.setdiff1d(holding.paddocks.index.to_numpy(), bound)
    points = candidates.sites.geometry.to_numpy()
    near_bound = _near(holding.paddocks, bound, points)
    near_free = _near(holding.paddocks, free, points)
    return np.asarray(~near_bound | near_free)


def pipe_tenure(
    holding: Holding, corridors: Corridors, layout: LayoutSettings, design: DesignSettings
) -> PipeTenure:
    """Tell which corridor edges may carry pipe, and where it pays a wayleave."""
    edges = corridors.edges
    new = (edges["laying"] != "existing").to_numpy()
    bound = _paddocks_that_forbid_works(holding, layout)
    buried = design.laying == "buried"
    on_bound_m = (
        length_only_on_m(holding.paddocks, bound, edges.geometry, _BESIDE_M)
        if buried
        else np.zeros(len(edges))
    )
    wayleave_m = length_only_on_m(
        holding.paddocks, _with_tenure(holding, ("wayleave",)), edges.geometry, _BESIDE_M
    )
    allowed = np.asarray(~new | (on_bound_m <= _TOUCH_M))
    return PipeTenure(allowed, np.where(new, wayleave_m, 0.0))


def _with_tenure(holding: Holding, tenures: Sequence[str]) -> npt.NDArray[np.intp]:
    paddocks = holding.paddocks
    if "tenure" not in paddocks:
        return np.empty(0, dtype=np.intp)
    return np.asarray(paddocks.index[paddocks["tenure"].isin(tenures)], dtype=np.intp)


def _paddocks_that_forbid_works(holding: Holding, layout: LayoutSettings) -> npt.NDArray[np.intp]:
    tenures = ["portable", "wayleave"]
    return _with_tenure(holding, tenures if layout.landlord_consents else [*tenures, "rented"])


def _fixed_troughs(holding: Holding, design: DesignSettings) -> bool:
    return any((mob.settings.trough or design.trough) == "fixed" for mob in holding.mobs)


def _near(
    paddocks: gpd.GeoDataFrame, ids: npt.NDArray[np.intp], points: npt.NDArray[np.object_]
) -> BoolArray:
    near = np.zeros(len(points), dtype=np.bool_)
    tree = shapely.STRtree(paddocks.geometry.loc[ids].to_numpy())
    near[tree.query(points, predicate="dwithin", distance=_BESIDE_M)[0]] = True
    return near
