"""What was read: the holding, its features, stock, sources and heights."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import geopandas as gpd
import pandas as pd
import pyproj

from dewpond.base.heighterror import KnownLevels
from dewpond.base.settings import MobSettings, SourceSettings
from dewpond.base.surface import Surface


@dataclass(frozen=True)
class Mob:
    """A mob with the paddocks it grazes, as row labels of ``Holding.paddocks``.

    Attributes
    ----------
    settings : MobSettings
    paddocks : tuple of int
        Every paddock that it grazes at some time of the year.
    by_month : tuple of tuple of int
        Paddocks grazed in January to December, empty while it is away; empty altogether for a
        mob without periods, which may graze its paddocks in any month.
    """

    settings: MobSettings
    paddocks: tuple[int, ...]
    by_month: tuple[tuple[int, ...], ...] = ()

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


def _nothing() -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame({"name": []}, geometry=[])


def _no_levels() -> pd.DataFrame:
    columns = ("easting_m", "northing_m", "level_m", "deviation_m")
    return pd.DataFrame({"name": pd.Series(dtype=object), **{c: pd.Series(dtype=float)
                                                             for c in columns}})  # fmt: skip


@dataclass(frozen=True, eq=False)
class Features:
    """Vectors around the paddocks, in the working CRS; an absent one is an empty table.

    Attributes
    ----------
    keep_out, tracks, watercourses, gates, existing_pipe : GeoDataFrame
        Columns ``name`` (text, may be empty) and ``geometry``; row labels 0 to n-1.
        ``existing_pipe`` may have ``outside_diameter_mm`` (NaN where not known) and ``condition``
        (text, may be empty) too.
    existing_outlets : GeoDataFrame
        Points, as the others, with ``condition``.
    fixed_outlets, spine, forbidden_ground, preferred_ground : GeoDataFrame
        Places where an outlet must stand (points), lines along which outlets stand at a set
        spacing, ground for neither outlet nor pipe, and ground to prefer for outlets (polygons).
    """

    keep_out: gpd.GeoDataFrame
    tracks: gpd.GeoDataFrame
    watercourses: gpd.GeoDataFrame
    gates: gpd.GeoDataFrame
    existing_pipe: gpd.GeoDataFrame
    existing_outlets: gpd.GeoDataFrame = field(default_factory=_nothing)
    fixed_outlets: gpd.GeoDataFrame = field(default_factory=_nothing)
    spine: gpd.GeoDataFrame = field(default_factory=_nothing)
    forbidden_ground: gpd.GeoDataFrame = field(default_factory=_nothing)
    preferred_ground: gpd.GeoDataFrame = field(default_factory=_nothing)


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
        repaired shape), ``geometry`` (Polygon or MultiPolygon, valid, 2D), and, where the file
        says it, ``tenure`` ("owned", "rented", "portable", "wayleave") and ``parcel`` (identifier
        of the land registry or payment agency, may be empty). Paddocks do not overlap each other
        by more than slivers.
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
    levels : DataFrame
        Levels taken on site, row labels 0 to n-1; columns ``name`` (may be empty), ``easting_m``,
        ``northing_m`` (working CRS), ``level_m`` (datum of the surface), ``deviation_m``.
    known_levels : KnownLevels or None
        Where the ground is known better than by the rasters, and what is left there of their
        error: the levels taken on site and at the sources; None where there are none.
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
    levels: pd.DataFrame = field(default_factory=_no_levels)
    known_levels: KnownLevels | None = None

    @property
    def grazed(self) -> tuple[int, ...]:
        """Ids of the paddocks that at least one mob grazes, ascending."""
        return tuple(sorted({paddock for mob in self.mobs for paddock in mob.paddocks}))
