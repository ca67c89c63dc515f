"""The reading of a holding on one screen: each part in turn, then all faults at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import geopandas as gpd
import numpy as np
import pyproj

from dewpond.base.errors import InputError
from dewpond.base.model import Features, Holding, Source
from dewpond.base.settings import PaddocksSettings, Project, VectorFile
from dewpond.base.surface import Surface
from dewpond.base.words import words
from dewpond.steps.read.datums import compare_datums
from dewpond.steps.read.features import read_features
from dewpond.steps.read.level_checks import check_levels
from dewpond.steps.read.levels import read_levels
from dewpond.steps.read.mosaic import build_surface, check_coverage
from dewpond.steps.read.notes import Notes
from dewpond.steps.read.paddocks import (
    mend_paddocks,
    name_paddocks,
    refuse_strays,
    settle_areas,
    take_off_keep_outs,
)
from dewpond.steps.read.rasters import opened
from dewpond.steps.read.stock import check_trough_paddocks, find_mobs, place_sources
from dewpond.steps.read.vectors import Bounds, Layer, adopt, open_layer
from dewpond.steps.read.working_crs import choose_crs, warn_if_rough

_LEAST_MARGIN_M = 250.0
_MARGIN_SHARE = 0.10
_DEGREES = pyproj.CRS.from_epsg(4326)


def read_holding(
    project: Project,
    *,
    paddocks: gpd.GeoDataFrame | None = None,
    elevation: Any | Sequence[Any] | None = None,
) -> Holding:
    """Read everything a plan is made from into one metric CRS, checked and repaired.

    Parameters
    ----------
    project : Project
        Paths in it are relative to ``project.folder``.
    paddocks : GeoDataFrame, optional
        Outlines with their CRS, in place of the file of ``[paddocks] boundaries``; the other
        settings of that table hold.
    elevation : rasterio dataset or sequence of them, optional
        Open rasters in order of preference, in place of the files of ``[terrain] elevation``;
        they are left open. The other settings of that table hold.

    Returns
    -------
    Holding

    Raises
    ------
    InputError
        With every fault found in the paddocks, features, rasters, mobs and sources.
    """
    notes = Notes()
    drawing = project.paddocks
    layer = _paddock_layer(project, drawing, paddocks, notes)
    named = None
    if layer is not None:
        named = name_paddocks(
            layer, drawing.name_field, notes, drawing.tenure_field, drawing.parcel_field
        )
    crs, kept = _in_working_crs(project, drawing, named, layer, notes)
    sources = place_sources(project.source, crs, kept, notes)
    search_m = project.supply.tank_search_m
    area = _area(kept, sources, search_m) if kept is not None else None
    features = read_features(project.features, project.folder, crs, area, notes)
    if kept is not None:
        kept = take_off_keep_outs(kept, features.keep_out, drawing.sliver_width_m, notes)
        kept = None if kept.empty else kept
    levels = read_levels(project.terrain, crs, project.folder, notes)
    surface = _surface(project, elevation, kept, area, notes)
    if surface is not None:
        _check_source_levels(project, sources, surface, notes)
        if levels is not None:
            levels = check_levels(levels, surface, project.terrain, notes)
    mobs = (
        find_mobs(project.mob, named, kept, notes)
        if kept is not None and named is not None
        else ()
    )
    if named is not None:
        check_trough_paddocks(project.trough, named, notes)
    if notes.faults or kept is None or surface is None:
        raise InputError(notes.faults)
    holding = _frozen(project, crs, kept, features, mobs, sources, surface, notes)
    return holding if levels is None else replace(holding, levels=levels)


def _paddock_layer(
    project: Project, drawing: PaddocksSettings, given: gpd.GeoDataFrame | None, notes: Notes
) -> Layer | None:
    notes.credit(drawing.credit)
    if given is not None:
        return adopt(given, "paddocks", notes)
    where = "[paddocks], boundaries"
    if drawing.boundaries is None:
        notes.fault(where, "is missing", expected="a polygon file of the paddocks")
        return None
    file = VectorFile(path=drawing.boundaries, layer=drawing.layer)
    return open_layer(file, project.folder, where, notes)


def _in_working_crs(
    project: Project,
    drawing: PaddocksSettings,
    named: gpd.GeoDataFrame | None,
    layer: Layer | None,
    notes: Notes,
) -> tuple[pyproj.CRS, gpd.GeoDataFrame | None]:
    """Return the working CRS and the mended paddocks; degrees and None where they are unknown."""
    if named is None or layer is None:
        return _DEGREES, None
    before = len(notes.faults)
    refuse_strays(named, notes)
    if len(notes.faults) > before:
        return _DEGREES, None
    lon_lat = _lon_lat(named)
    crs = choose_crs(project.holding.crs, lon_lat, notes)
    kept = mend_paddocks(
        named, crs, layer.label, drawing.overlap_share_limit, drawing.sliver_width_m, notes
    )
    if kept.empty:
        if len(notes.faults) == before:
            notes.fault(
                layer.label,
                "holds no paddock wider than a sliver",
                expected=f"outlines wider than {drawing.sliver_width_m:g} m",
                remedy="check its CRS, or lower [paddocks] sliver_width_m",
            )
        return crs, None
    west, south, east, north = kept.total_bounds
    warn_if_rough(layer.label, layer.crs, crs, ((west + east) / 2, (south + north) / 2), notes)
    return crs, kept


def _lon_lat(named: gpd.GeoDataFrame) -> Bounds:
    """Return the extent in degrees; astride the 180th meridian it runs on past 180."""
    longitude, latitude = named.to_crs(_DEGREES).get_coordinates().to_numpy().T
    longitude = longitude[0] + (longitude - longitude[0] + 180) % 360 - 180
    west, south = float(longitude.min()), float(latitude.min())
    return west, south, float(longitude.max()), float(latitude.max())


def _area(paddocks: gpd.GeoDataFrame, sources: Sequence[Source], search_m: float) -> Bounds:
    """Return the extent that needs heights and features: paddocks, sources and a margin.

    The margin holds the ground on which a place for a tank may be looked for.
    """
    west, south, east, north = paddocks.total_bounds.tolist()
    eastings = [west, east, *(source.easting_m for source in sources)]
    northings = [south, north, *(source.northing_m for source in sources)]
    extent = max(max(eastings) - min(eastings), max(northings) - min(northings))
    margin = max(_LEAST_MARGIN_M, _MARGIN_SHARE * extent, search_m)
    return (
        min(eastings) - margin,
        min(northings) - margin,
        max(eastings) + margin,
        max(northings) + margin,
    )


def _surface(
    project: Project,
    given: Any | Sequence[Any] | None,
    paddocks: gpd.GeoDataFrame | None,
    area: Bounds | None,
    notes: Notes,
) -> Surface | None:
    settings = project.terrain
    written = settings.elevation
    if given is not None and not isinstance(given, Sequence):
        given = [given]
    if not (written if given is None else given):
        notes.fault(
            "[terrain], elevation", "is missing", expected="an elevation raster, or several"
        )
        return None
    paths = [written] if isinstance(written, str) else list(written or ())
    notes.credit(settings.credit)
    with opened(paths, given, project.folder, notes) as rasters:
        compare_datums(rasters, settings, project.source, notes)
        surface = build_surface(rasters, paddocks, area, settings, notes)
    if surface is None or paddocks is None:
        return None
    return check_coverage(surface, paddocks, settings.missing_share_limit, notes)


def _check_source_levels(
    project: Project, sources: Sequence[Source], surface: Surface, notes: Notes
) -> None:
    """Refuse the chosen source, and warn of another, that has no ground level at all."""
    chosen = project.design.source or project.source[0].name
    for source in sources:
        if source.settings.level_m is not None:
            continue
        if np.isfinite(surface.heights_m(source.easting_m, source.northing_m)):
            continue
        if source.name == chosen:
            notes.fault(
                f'[[source]] "{source.name}"',
                "has no ground level",
                found="no height in the raster at its place, and no level_m",
                expected="either of the two",
                remedy="give its ground level as level_m, or a raster that reaches it",
            )
        else:
            notes.warnings.append(words("data.holding.source_without_height", name=source.name))


def _frozen(
    project: Project,
    crs: pyproj.CRS,
    kept: gpd.GeoDataFrame,
    features: Features,
    mobs: tuple[Any, ...],
    sources: tuple[Source, ...],
    surface: Surface,
    notes: Notes,
) -> Holding:
    return Holding(
        name=project.holding.name,
        crs=crs,
        paddocks=settle_areas(kept),
        features=features,
        mobs=mobs,
        sources=sources,
        surface=surface,
        repairs=tuple(notes.repairs),
        warnings=tuple(notes.warnings),
        inputs=dict(sorted(notes.inputs.items())),
        credits=tuple(notes.credits),
    )
