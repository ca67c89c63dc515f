"""What may be chosen, and at what price: the arrays that the rules of the holding come to."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy.sparse as sp
import shapely

from dewpond.base.model import Candidates, Corridors, Holding
from dewpond.base.settings import DesignSettings, LayoutSettings, PricesSettings
from dewpond.base.surface import FloatArray
from dewpond.steps.layout.tenure import pipe_tenure, site_tenure

IntArray = npt.NDArray[np.intp]
BoolArray = npt.NDArray[np.bool_]

# Kinds of site that the user asked for by place, and that must carry an outlet.
_FORCED = ("fixed", "spine")
_EXISTING = "existing"


@dataclass(frozen=True, eq=False)
class Options:
    """Sites and corridor edges with their prices, whatever the source.

    Attributes
    ----------
    edge_open, edge_price : arrays, shape (m edges,)
        Whether pipe may lie there, and the price of laying it.
    site_open, site_forced : arrays of bool, shape (n sites,)
        Whether an outlet may stand there, and whether one must.
    site_price : array of float, shape (n sites,)
    edge_extra, site_extra : arrays of float
        What counts in the choice besides the price; negative where a site is preferred.
    """

    edge_open: BoolArray
    edge_price: FloatArray
    edge_extra: FloatArray
    site_open: BoolArray
    site_forced: BoolArray
    site_price: FloatArray
    site_extra: FloatArray


def gather_options(
    holding: Holding,
    candidates: Candidates,
    corridors: Corridors,
    layout: LayoutSettings,
    design: DesignSettings,
    prices: PricesSettings,
) -> Options:
    """Return what tenure and the wishes of the user leave open, and its price."""
    kind = candidates.sites["kind"].to_numpy(dtype=object)
    forced = np.isin(kind, _FORCED)
    price = np.where(kind == _EXISTING, 0.0, prices.outlet_each)
    preferred = _within(candidates, holding.features.preferred_ground.geometry.to_numpy())
    allowed = site_tenure(holding, candidates, layout, design) | (kind == _EXISTING)
    pipe = pipe_tenure(holding, corridors, layout, design)
    wayleave = pipe.wayleave_m * prices.wayleave_per_m
    edge_price = corridors.edges["cost"].to_numpy(dtype=np.float64) + wayleave
    return Options(
        edge_open=pipe.allowed,
        edge_price=edge_price,
        edge_extra=np.zeros(len(edge_price)),
        site_open=allowed | forced,
        site_forced=forced,
        site_price=price,
        site_extra=np.where(preferred, -layout.preference * price, 0.0),
    )


def outlet_limits(
    holding: Holding, candidates: Candidates, layout: LayoutSettings
) -> tuple[sp.csr_array, FloatArray, FloatArray] | None:
    """Return least and most outlets for each grazed paddock as rows over sites, or None."""
    if layout.least_outlets_per_paddock == 0 and layout.most_outlets_per_paddock is None:
        return None
    grazed = np.array(holding.grazed, dtype=np.intp)
    access = candidates.access
    row = np.searchsorted(grazed, access["paddock"].to_numpy())
    rows = sp.csr_array(
        (np.ones(len(access)), (row, access["site"].to_numpy())),
        shape=(len(grazed), len(candidates.sites)),
    )
    most = layout.most_outlets_per_paddock
    lower = np.full(len(grazed), float(layout.least_outlets_per_paddock))
    upper = np.full(len(grazed), np.inf if most is None else float(most))
    return rows, lower, upper


def _within(candidates: Candidates, shapes: npt.NDArray[np.object_]) -> BoolArray:
    inside = np.zeros(len(candidates.sites), dtype=np.bool_)
    if len(shapes):
        points = candidates.sites.geometry.to_numpy()
        inside[shapely.STRtree(shapes).query(points, predicate="intersects")[0]] = True
    return inside
