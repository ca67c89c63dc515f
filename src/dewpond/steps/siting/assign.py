"""Which outlet each cell walks to, how far, and the ground that no outlet can serve."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd
import scipy.sparse as sp

from dewpond.base.model import Candidates, Layout, Reach, Siting
from dewpond.base.surface import FloatArray
from dewpond.base.units import SQUARE_METRES_PER_HECTARE
from dewpond.base.words import words

IntArray = npt.NDArray[np.intp]
BoolArray = npt.NDArray[np.bool_]


def assign_ground(candidates: Candidates, reach: Reach, layout: Layout) -> Siting:
    """Assign every grazed cell to the chosen outlet with the shortest walk.

    Parameters
    ----------
    candidates : Candidates
        By paddock why places were struck out.
    reach : Reach
        Walks from sites to cells, those within the limit.
    layout : Layout
        The chosen sites.

    Returns
    -------
    Siting
        Of two outlets equally near, a cell takes the one with the lower site id. Cells that no
        site could serve are marked and named in a warning for each paddock.
    """
    walk_m = _after_hose(reach)
    nearest, nearest_m = _nearest(np.array(layout.sites, dtype=np.intp), walk_m)
    return Siting(
        sites=layout.sites,
        nearest_site=nearest,
        walk_m=np.where(nearest >= 0, nearest_m, np.nan),
        unreachable=layout.unreachable,
        proof=layout.proof,
        warnings=(*layout.warnings, *_warnings(candidates, reach, layout.unreachable)),
    )


def _nearest(sites: IntArray, walk_m: sp.csr_array) -> tuple[IntArray, FloatArray]:
    """Return the nearest of some sites to each cell, -1 where none is in reach, and the walk."""
    rows = walk_m[sites]
    cell, walk = rows.indices, rows.data
    site = np.repeat(sites, np.diff(rows.indptr))
    order = np.lexsort((site, walk, cell))
    first = order[np.flatnonzero(np.diff(cell[order], prepend=-1))]
    nearest = np.full(walk_m.shape[1], -1, dtype=np.intp)
    nearest_m = np.full(walk_m.shape[1], np.inf)
    nearest[cell[first]], nearest_m[cell[first]] = site[first], walk[first]
    return nearest, nearest_m


def _after_hose(reach: Reach) -> sp.csr_array:
    """Return the walks beyond the hose [m]; a cell within the hose keeps a stored zero."""
    walk_m = reach.walk_m.tocsr()
    beyond = np.maximum(walk_m.data.astype(np.float64) - reach.hose_m, 0.0)
    return sp.csr_array((beyond, walk_m.indices, walk_m.indptr), shape=walk_m.shape)


def _warnings(candidates: Candidates, reach: Reach, unreachable: BoolArray) -> tuple[str, ...]:
    """Name dry ground, and apart from it ground whose places no pipe may or can reach."""
    in_reach = np.bincount(reach.walk_m.indices, minlength=reach.walk_m.shape[1]) > 0
    beyond = _hectares(reach.cells[unreachable & ~in_reach])
    unjoined = _hectares(reach.cells[unreachable & in_reach])
    limit = words("siting.assign.walk_limit", limit_m=reach.limit_m)
    if reach.hose_m > 0:
        limit += words("siting.assign.beyond_hose", hose_m=reach.hose_m)
    return (
        *(_beyond(candidates, int(p), area, limit) for p, area in beyond.items()),
        *(_unjoined(candidates, int(p), area) for p, area in unjoined.items()),
    )


def _hectares(cells: pd.DataFrame) -> pd.Series:
    return cells.groupby("paddock")["area_m2"].sum() / SQUARE_METRES_PER_HECTARE


def _area(area_ha: float) -> str:
    return (
        words("siting.assign.hectares", area_ha=area_ha)
        if area_ha >= 0.005
        else words("siting.assign.hardly_any_area")
    )


def _beyond(candidates: Candidates, paddock: int, area_ha: float, limit: str) -> str:
    name, sites, struck = _reasons(candidates, paddock)
    area = _area(area_ha)
    because = (
        words("siting.assign.places_struck_out", struck=struck)
        if struck
        else words("siting.assign.none_struck_out")
    )
    if sites == 0:
        return words("siting.assign.no_place_passes", name=name, area=area, because=because)
    return words(
        "siting.assign.too_far_from_places",
        name=name,
        area=area,
        limit=limit,
        sites=sites,
        because=because,
    )


def _unjoined(candidates: Candidates, paddock: int, area_ha: float) -> str:
    name, _, _ = _reasons(candidates, paddock)
    return words("siting.assign.places_not_joined", name=name, area=_area(area_ha))


def _reasons(candidates: Candidates, paddock: int) -> tuple[str, int, str]:
    """Return the paddock's name, how many sites serve it, and the rules that struck out others."""
    if paddock not in candidates.by_paddock.index:
        sites = int((candidates.access["paddock"] == paddock).sum())
        return f"paddock {paddock}", sites, ""
    row = candidates.by_paddock.loc[paddock]
    rules = row.drop(["name", "sites"])
    struck = ", ".join(f"{rule} {int(count)}" for rule, count in rules.items() if count)
    return str(row["name"]), int(row["sites"]), struck
