"""The ground as stock meet it: heights, places for outlets, and the walk to them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import scipy.sparse as sp

from dewpond.base.surface import Grid


@dataclass(frozen=True, eq=False)
class Terrain:
    """The ground on the walking grid: heights and slope over the whole holding.

    Attributes
    ----------
    cell_m : float
        Cell of the walking grid; its corners lie on whole multiples of it in the working CRS.
    cell_reason : str
        How the cell was chosen, in a sentence.
    height_m : Grid
        Ground height [m] at cell centres, working CRS, with a margin round the paddocks.
    slope_degrees : Grid
        Steepest slope [degrees] on the same cells, at the scale of the elevation posting.
    """

    cell_m: float
    cell_reason: str
    height_m: Grid
    slope_degrees: Grid


@dataclass(frozen=True, eq=False)
class Candidates:
    """Places where an outlet may stand, and the paddocks each can serve.

    Attributes
    ----------
    sites : GeoDataFrame
        Row labels 0 to n-1 (the site id); columns ``kind`` ("fence", "inside", and as the user
        names them "fixed", "existing", "spine"), ``ground_level_m``, ``slope_degrees``,
        ``geometry`` (Point). Only sites that pass every siting rule, or that the user fixed or
        has already.
    access : DataFrame
        One row for each pair of site and grazed paddock that it serves, sorted by site, then
        paddock; columns ``site``, ``paddock`` (ids), ``easting_m``, ``northing_m`` (where the
        stock of that paddock stand to drink: on or within that paddock's boundary).
    fences : GeoDataFrame
        The fence lines once each (shared boundaries merged), noded at junctions; columns
        ``paddocks`` (tuple of ids on either side), ``geometry`` (LineString).
    refused : mapping of str to int
        How many places each siting rule struck out, by rule; one that breaks two counts in both.
    by_paddock : DataFrame
        Row label = grazed paddock id; columns ``name``, ``sites`` (how many serve it) and one for
        each rule (how many places it struck out there).
    warnings : tuple of str
    """

    sites: gpd.GeoDataFrame
    access: pd.DataFrame
    fences: gpd.GeoDataFrame
    refused: Mapping[str, int]
    by_paddock: pd.DataFrame = field(default_factory=pd.DataFrame)
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Reach:
    """Walking distance from candidate sites to grazed ground.

    Attributes
    ----------
    cells : DataFrame
        Grazed cells, row labels 0 to m-1; columns ``paddock`` (id), ``easting_m``,
        ``northing_m`` (a point inside the paddock), ``area_m2`` (its share of the paddock; sums
        to the paddock's area).
    walk_m : scipy.sparse.csr_array of float32, shape (n sites, m cells)
        Walk from site to cell [m] (level-equivalent where slope effort is on), stored only where
        within ``limit_m + hose_m``; a stored value is never zero (at least 0.01).
    limit_m : float
        Walking limit.
    hose_m : float
        Hose length that is taken off the way before the walk begins.
    """

    cells: pd.DataFrame
    walk_m: sp.csr_array
    limit_m: float
    hose_m: float


@dataclass(frozen=True, eq=False)
class CellGroups:
    """Grazed cells with the same sites in reach, which therefore ask for the same.

    Attributes
    ----------
    sites : csr_array of float, shape (g groups, n sites)
        One where a site has the group in reach.
    walk : csr_array of float, shape (g groups, n sites)
        Walks of the cells of the group after the hose, each times the cell's area, together
        [m times m2]; a stored zero where all lie within the hose.
    of_cell : array of int, shape (m cells,)
        Group of each cell, -1 where no site has it in reach.
    """

    sites: sp.csr_array
    walk: sp.csr_array
    of_cell: npt.NDArray[np.intp]

    def cells_in(self, groups: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
        """Return which cells belong to some groups, shape (m cells,)."""
        return np.append(groups, False)[self.of_cell]
