"""Mobs with the paddocks they graze, and sources in the working CRS."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import geopandas as gpd
import numpy as np
import pyproj
import shapely
from pyproj.exceptions import CRSError

from dewpond.base.errors import nearest_name
from dewpond.base.model import Mob, Source
from dewpond.base.settings import MobSettings, SourceSettings, TroughSettings
from dewpond.base.surface import transformer
from dewpond.base.words import words
from dewpond.steps.read.notes import Notes

FARTHEST_SOURCE_M = 5_000.0
"""A source farther than this from every paddock is misplaced; common practice, no source."""


def find_mobs(
    settings: Sequence[MobSettings], named: gpd.GeoDataFrame, kept: gpd.GeoDataFrame, notes: Notes
) -> tuple[Mob, ...]:
    """Return the mobs with the row labels of their paddocks; an unknown name is a fault.

    Parameters
    ----------
    settings : sequence of MobSettings
    named : GeoDataFrame
        All paddocks of the file, columns ``name`` and ``written``.
    kept : GeoDataFrame
        Those that passed mending; columns ``name``, ``written``, row labels = paddock ids.
    notes : Notes
    """
    ids: dict[str, list[int]] = {}
    for position, (name, written) in enumerate(zip(kept["name"], kept["written"], strict=True)):
        for key in dict.fromkeys((name, written)):
            ids.setdefault(key, []).append(position)
    known = list(dict.fromkeys([*named["name"], *named["written"].dropna()]))
    dropped = set(known) - set(ids)
    mobs = []
    for number, mob in enumerate(settings, start=1):
        where = words("data.stock.mob_paddocks", number=number, name=mob.name)
        usual = _paddocks(mob.paddocks, where, ids, dropped, known, named, notes)
        if not mob.period:
            mobs.append(Mob(mob, usual))
            continue
        by_month = [usual] * 12
        for count, period in enumerate(mob.period, start=1):
            inner = where.replace(
                ", paddocks", words("data.stock.mob_period_paddocks", count=count)
            )
            found = usual
            if period.paddocks is not None:
                found = _paddocks(period.paddocks, inner, ids, dropped, known, named, notes)
            for month in period.months:
                by_month[month - 1] = () if period.head == 0 else found
        mobs.append(Mob(mob, tuple(sorted(set().union(*by_month))), tuple(by_month)))
    return tuple(mobs)


def check_trough_paddocks(trough: TroughSettings, named: gpd.GeoDataFrame, notes: Notes) -> None:
    """Note a fault for each paddock of ``[trough]`` that is unknown or listed for both kinds."""
    if named["written"].isna().all():
        return
    known = list(dict.fromkeys([*named["name"], *named["written"].dropna()]))
    for key, names in (("fixed_in", trough.fixed_in), ("mobile_in", trough.mobile_in)):
        for name in names:
            if name not in known:
                notes.fault(
                    f"[trough], {key}",
                    "is not the name of a paddock",
                    found=f'"{name}"',
                    expected="a name from the paddock layer",
                    remedy=nearest_name(name, [item for item in known if item]),
                )
    for name in sorted(set(trough.fixed_in) & set(trough.mobile_in)):
        notes.fault("[trough]", f'"{name}" stands in both fixed_in and mobile_in')


def _paddocks(
    listed: Literal["all"] | list[str],
    where: str,
    ids: dict[str, list[int]],
    dropped: set[str],
    known: Sequence[str],
    named: gpd.GeoDataFrame,
    notes: Notes,
) -> tuple[int, ...]:
    """Return the row labels of the paddocks listed by name; an unknown name is a fault."""
    if listed == "all":
        return tuple(sorted({row for rows in ids.values() for row in rows}))
    if named["written"].isna().all():
        return ()  # without the name field, itself a fault, no name can be judged
    wanted = [name.strip() for name in listed]
    for name in wanted:
        _check_name(name, ids, dropped, known, where, notes)
    if not wanted:
        notes.fault(where, "names no paddock", expected='"all" or a list of names')
    return tuple(sorted({row for name in wanted for row in ids.get(name, []) if name}))


def _check_name(
    name: str,
    ids: dict[str, list[int]],
    dropped: set[str],
    known: Sequence[str],
    where: str,
    notes: Notes,
) -> None:
    if name and name in ids:
        return
    if name in dropped:
        # Its own fault or repair says why it is not there; a sliver that was left out has none.
        if not any(f'("{name}")' in fault.where for fault in notes.faults):
            notes.fault(
                where,
                f'the paddock "{name}" was left out as a drawing error',
                expected="a paddock wider than the sliver width",
                remedy="take it off the list, or lower [paddocks] sliver_width_m",
            )
        return
    notes.fault(
        where,
        "is not the name of a paddock",
        found=f'"{name}"',
        expected="a name from the paddock layer",
        remedy=nearest_name(name, [item for item in known if item]),
    )


def place_sources(
    settings: Sequence[SourceSettings],
    crs: pyproj.CRS,
    paddocks: gpd.GeoDataFrame | None,
    notes: Notes,
) -> tuple[Source, ...]:
    """Return the sources that lie at or near the holding; any other is a fault."""
    sources = []
    for number, source in enumerate(settings, start=1):
        where = words("data.stock.source_at", number=number, name=source.name)
        placed = _carried(source, source.at, crs, where, notes)
        if placed is None:
            continue
        if paddocks is not None and _is_far(source, placed, crs, paddocks, where, notes):
            continue
        sources.append(Source(source, *placed))
    return tuple(sources)


def _carried(
    source: SourceSettings,
    at: tuple[float, float],
    crs: pyproj.CRS,
    where: str,
    notes: Notes,
) -> tuple[float, float] | None:
    try:
        own = pyproj.CRS.from_user_input(source.crs).to_2d()
    except CRSError:
        notes.fault(
            where.removesuffix("at") + "crs",
            "is not a known CRS",
            found=f'"{source.crs}"',
            expected="for instance EPSG:4326 or EPSG:27700",
        )
        return None
    easting, northing = transformer(own, crs).transform(*at)
    if np.isfinite([easting, northing]).all():
        return float(easting), float(northing)
    notes.fault(
        where,
        f"has coordinates that do not fit its CRS, {own.name}",
        found=f"[{at[0]:g}, {at[1]:g}]",
        expected="longitude then latitude, or easting and northing with crs",
        remedy=_remedy_for(at) if own.is_geographic else "",
    )
    return None


def _remedy_for(at: tuple[float, float]) -> str:
    """Say what two numbers that are no longitude and latitude may be."""
    if abs(at[0]) <= 90 and abs(at[1]) <= 180:
        return words("data.stock.swap_longitude_and_latitude")
    return words("data.stock.add_the_crs")


def _is_far(
    source: SourceSettings,
    placed: tuple[float, float],
    crs: pyproj.CRS,
    paddocks: gpd.GeoDataFrame,
    where: str,
    notes: Notes,
) -> bool:
    distance_m = _distance_m(placed, paddocks)
    if distance_m <= FARTHEST_SOURCE_M:
        return False
    swapped = _carried(source, (source.at[1], source.at[0]), crs, where, Notes())
    if swapped is not None and _distance_m(swapped, paddocks) <= FARTHEST_SOURCE_M:
        remedy = words("data.stock.swap_longitude_and_latitude")
    else:
        remedy = words("data.stock.check_coordinates")
    notes.fault(
        where,
        "lies far outside the holding",
        found=f"[{source.at[0]:g}, {source.at[1]:g}] in {source.crs}, {distance_m / 1000:,.1f} km "
        "from the nearest paddock",
        expected=f"at most {FARTHEST_SOURCE_M / 1000:g} km",
        remedy=remedy,
    )
    return True


def _distance_m(placed: tuple[float, float], paddocks: gpd.GeoDataFrame) -> float:
    distances = shapely.distance(paddocks.geometry.to_numpy(), shapely.Point(placed))
    return float(distances.min()) if distances.size else 0.0
