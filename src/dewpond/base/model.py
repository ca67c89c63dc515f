"""The frozen values that pass between steps; each field with its shape, unit and CRS.

Coordinates are easting then northing, in metres, in the working CRS of the holding. Tables are
GeoDataFrames or DataFrames that no step changes in place: a step makes a new one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import pyproj
import scipy.sparse as sp

from dewpond.base.settings import MobSettings, Project, SourceSettings
from dewpond.base.surface import FloatArray, Grid, Surface

IntArray = npt.NDArray[np.intp]


@dataclass(frozen=True)
class Mob:
    """A mob with the paddocks it grazes, as row labels of ``Holding.paddocks``."""

    settings: MobSettings
    paddocks: tuple[int, ...]

    @property
    def name(self) -> str:
        """Name of the mob in the project file."""
        return self.settings.name


@dataclass(frozen=True)
class Source:
    """A place that water can come from, in the working CRS."""

    settings: SourceSettings
    easting_m: float
    northing_m: float

    @property
    def name(self) -> str:
        """Name of the source in the project file."""
        return self.settings.name


@dataclass(frozen=True, eq=False)
class Features:
    """Vectors around the paddocks, in the working CRS; an absent one is an empty table.

    Attributes
    ----------
    keep_out, tracks, watercourses, gates, existing_pipe : GeoDataFrame
        Columns ``name`` (text, may be empty) and ``geometry``; row labels 0 to n-1.
    """

    keep_out: gpd.GeoDataFrame
    tracks: gpd.GeoDataFrame
    watercourses: gpd.GeoDataFrame
    gates: gpd.GeoDataFrame
    existing_pipe: gpd.GeoDataFrame


@dataclass(frozen=True, eq=False)
class Holding:
    """What was read: paddocks, features, stock, sources and heights, checked and repaired.

    Attributes
    ----------
    name : str
    crs : pyproj.CRS
        Working CRS, projected, metres, easting first; lengths in it are true within 0.1 %.
    paddocks : GeoDataFrame
        Row labels 0 to n-1 (the paddock id); columns ``name`` (unique), ``area_ha`` (from the
        repaired shape), ``geometry`` (Polygon or MultiPolygon, valid, 2D). Paddocks do not
        overlap each other by more than slivers.
    features : Features
    mobs : tuple of Mob
    sources : tuple of Source
    surface : Surface
        Ground heights [m].
    repairs : tuple of str
        One sentence for each thing mended in the data, naming file and feature.
    warnings : tuple of str
        One sentence for each thing the reader of the plan should know.
    inputs : mapping of str to str
        SHA-256 by path as written in the project file.
    credits : tuple of str
    """

    name: str
    crs: pyproj.CRS
    paddocks: gpd.GeoDataFrame
    features: Features
    mobs: tuple[Mob, ...]
    sources: tuple[Source, ...]
    surface: Surface
    repairs: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    inputs: Mapping[str, str] = field(default_factory=dict)
    credits: tuple[str, ...] = ()

    @property
    def grazed(self) -> tuple[int, ...]:
        """Ids of the paddocks that at least one mob grazes, ascending."""
        return tuple(sorted({paddock for mob in self.mobs for paddock in mob.paddocks}))


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
class Demand:
    """Water needed on the peak day.

    Attributes
    ----------
    mobs : DataFrame
        Row label = name of the mob; columns ``species``, ``head``, ``weight_kg``, ``lactating``,
        ``trough``, ``method`` (the one used, text), ``stock_class`` (in the table, or empty),
        ``source`` (citation), ``litres_head_day``, ``daily_demand_l`` (losses added),
        ``drinking_hours``, ``design_flow_l_min``, ``paddocks`` (tuple of ids).
    paddocks : DataFrame
        Row label = paddock id, all paddocks; columns ``name``, ``mobs`` (tuple of names),
        ``daily_demand_l`` and ``design_flow_l_min`` (those of the most demanding mob that grazes
        it: mobs do not share a paddock on one day), 0 where none does.
    warnings : tuple of str
        Values used outside their published range of validity.
    """

    mobs: pd.DataFrame
    paddocks: pd.DataFrame
    warnings: tuple[str, ...] = ()

    @property
    def daily_demand_l(self) -> float:
        """Water for all mobs on the peak day [L]."""
        return float(self.mobs["daily_demand_l"].sum())


@dataclass(frozen=True, eq=False)
class Candidates:
    """Places where an outlet may stand, and the paddocks each can serve.

    Attributes
    ----------
    sites : GeoDataFrame
        Row labels 0 to n-1 (the site id); columns ``kind`` ("fence", "inside"),
        ``ground_level_m``, ``slope_degrees``, ``geometry`` (Point). Only sites that pass every
        siting rule.
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
    """

    sites: gpd.GeoDataFrame
    access: pd.DataFrame
    fences: gpd.GeoDataFrame
    refused: Mapping[str, int]
    by_paddock: pd.DataFrame = field(default_factory=pd.DataFrame)


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
class Corridors:
    """The ways that pipe may take: an undirected graph laid over fences, tracks, open ground.

    Attributes
    ----------
    nodes : GeoDataFrame
        Row labels 0 to n-1; columns ``site`` (site id or -1), ``source`` (position in
        ``Holding.sources`` or -1), ``ground_level_m``, ``geometry`` (Point).
    edges : GeoDataFrame
        Row labels 0 to m-1; columns ``start``, ``end`` (node ids), ``length_m`` (3D, along the
        ground), ``laying`` ("fence", "track", "open ground", "existing"), ``crossings`` (tuple
        of "track" / "watercourse", one entry each), ``cost`` (whole price of the edge),
        ``geometry`` (LineString from start to end).
    """

    nodes: gpd.GeoDataFrame
    edges: gpd.GeoDataFrame


@dataclass(frozen=True)
class Proof:
    """How good an optimised choice is known to be.

    Attributes
    ----------
    value, bound : float
        Whole cost (or number) of the choice and the least that any choice could have.
    seconds : float
        Wall time of the search.
    status : str
        "optimal", or why the search stopped.
    """

    value: float
    bound: float
    seconds: float
    status: str

    @property
    def gap(self) -> float:
        """Share of the value that is not proven necessary, 0 when proven least."""
        return max(0.0, (self.value - self.bound) / self.value) if self.value > 0 else 0.0


@dataclass(frozen=True, eq=False)
class Siting:
    """The chosen outlets and what they reach.

    Attributes
    ----------
    sites : tuple of int
        Chosen site ids, ascending.
    nearest_site : array of int, shape (m cells,)
        Site that each cell walks to, -1 where none is in reach.
    walk_m : array of float, shape (m cells,)
        Walk of each cell to the water after the hose [m], NaN where none is in reach.
    unreachable : array of bool, shape (m cells,)
        Cells that no candidate at all could serve.
    proof : Proof
        In number of outlets.
    warnings : tuple of str
    """

    sites: tuple[int, ...]
    nearest_site: IntArray
    walk_m: FloatArray
    unreachable: npt.NDArray[np.bool_]
    proof: Proof
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Network:
    """The pipe tree from a source to every chosen outlet.

    Attributes
    ----------
    source : int
        Position in ``Holding.sources``.
    nodes : GeoDataFrame
        Row label = node name ("outlet 1", "junction 1", or the source's name), ordered outward
        from the source; columns ``kind`` ("source", "outlet", "junction"), ``site`` (site id or
        -1), ``ground_level_m``, ``geometry`` (Point).
    pipes : GeoDataFrame
        Row label = pipe name ("pipe 1" ...), ordered outward; a pipe runs between source,
        junctions and outlets. Columns ``from_node``, ``to_node`` (names, flow outward),
        ``length_m`` (3D), ``laying`` (the longest kind along it), ``laying_m`` (tuple of
        (kind, metres) pairs), ``crossings`` (tuple), ``cost``, ``geometry`` (LineString, from
        from_node to to_node).
    unconnected : tuple of int
        Chosen sites that no corridor joins to the source.
    proof : Proof
        In price.
    warnings : tuple of str
    """

    source: int
    nodes: gpd.GeoDataFrame
    pipes: gpd.GeoDataFrame
    unconnected: tuple[int, ...]
    proof: Proof
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Section:
    """Ground along one pipe at the posting of the elevation data, in the direction of flow.

    Attributes
    ----------
    distance_m : array of float, shape (n,)
        Distance along the ground from the source, through the pipes before this one [m].
    easting_m, northing_m, ground_level_m : arrays of float, shape (n,)
    summits, hollows : tuple of int
        Positions in the arrays of local high and low points (candidates for air valves and
        washouts), ends left out.
    """

    distance_m: FloatArray
    easting_m: FloatArray
    northing_m: FloatArray
    ground_level_m: FloatArray
    summits: tuple[int, ...]
    hollows: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class Heads:
    """Static head (no flow) along every pipe, from the water level at the source.

    Attributes
    ----------
    source_level_m : float
        Level of still water at the source, in the datum of the elevation [m].
    source_level_reason : str
        Where that level comes from, in a sentence.
    nodes : DataFrame
        Row label = node name; columns ``ground_level_m``, ``static_head_m``.
    pipes : DataFrame
        Row label = pipe name; columns ``static_head_m`` (at its end), ``highest_static_head_m``,
        ``lowest_static_head_m`` (anywhere along it).
    sections : mapping of str to Section
        By pipe name.
    warnings : tuple of str
    """

    source_level_m: float
    source_level_reason: str
    nodes: pd.DataFrame
    pipes: pd.DataFrame
    sections: Mapping[str, Section]
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class Verdict:
    """One requirement, the figure the plan reaches, and whether that is enough."""

    requirement: str
    figure: float
    limit: float
    unit: str
    met: bool
    where: str = ""
    remedy: str = ""


@dataclass(frozen=True)
class Appraisal:
    """What the plan amounts to.

    Attributes
    ----------
    totals : mapping of str to float
        ``outlets``, ``pipe_m``, ``cost``, ``worst_walk_m``, ``mean_walk_m``, ``covered_share``,
        ``grazed_area_ha``, ``daily_demand_l``.
    verdicts : tuple of Verdict
    """

    totals: Mapping[str, float]
    verdicts: tuple[Verdict, ...]


@dataclass(frozen=True, eq=False)
class Plan:
    """One planned holding: the value of every step, and the verdicts drawn from them."""

    project: Project
    holding: Holding
    terrain: Terrain
    demand: Demand
    candidates: Candidates
    reach: Reach
    corridors: Corridors
    siting: Siting
    network: Network
    heads: Heads
    appraisal: Appraisal
    versions: Mapping[str, str] = field(default_factory=dict)

    @property
    def totals(self) -> Mapping[str, float]:
        """Figures of the whole holding, units in their names."""
        return self.appraisal.totals

    @property
    def verdicts(self) -> tuple[Verdict, ...]:
        """One verdict for each requirement."""
        return self.appraisal.verdicts

    @property
    def warnings(self) -> tuple[str, ...]:
        """Everything the steps want the reader to know, in the order of the steps."""
        steps = (self.holding, self.demand, self.siting, self.network, self.heads)
        return tuple(warning for step in steps for warning in step.warnings)

    @property
    def met(self) -> bool:
        """Whether every requirement is met."""
        return all(verdict.met for verdict in self.verdicts)

    def settings_used(self) -> dict[str, Any]:
        """Return every setting with the value used, defaults filled in, ready for JSON."""
        return self.project.model_dump(mode="json")
