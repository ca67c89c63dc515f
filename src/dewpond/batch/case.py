"""One holding of a batch as a project and, where all share one file, its own boundaries."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any, get_args

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pydantic import BaseModel

from dewpond.base.errors import Fault, InputError
from dewpond.base.settings import (
    MobSettings,
    Project,
    SourceSettings,
    load_project,
    project_from_dict,
)
from dewpond.base.units import SQUARE_METRES_PER_HECTARE
from dewpond.base.words import words
from dewpond.batch.limits import limited
from dewpond.batch.options import BatchOptions, Rows
from dewpond.batch.reading import read_near, read_rows
from dewpond.batch.tasks import Task

_FARTHEST_SOURCE_M = 5_000.0
"""As far as reading a holding lets a source lie from its paddocks."""


@dataclass(frozen=True, eq=False)
class Case:
    """A project, its boundaries where they come from a shared file, and where it lies.

    Attributes
    ----------
    project : Project
    paddocks : GeoDataFrame or None
        None where the project file names its own boundaries.
    place : tuple of float or None
        Longitude and latitude.
    """

    project: Project
    paddocks: gpd.GeoDataFrame | None
    place: tuple[float, float] | None


def read_case(task: Task, options: BatchOptions) -> Case:
    """Return the project of one holding, with the limits of the batch where it sets none.

    Raises
    ------
    InputError
        With every fault found.
    """
    if options.holdings is None:
        return Case(limited(load_project(task.project), options), None, None)
    template = Path(task.project)
    raw = _template(template)
    fields = read_rows(options.holdings, task.fields)
    if not isinstance(fields, gpd.GeoDataFrame):
        raise InputError([Fault(options.holdings.label, "is a table without shapes")])
    raw["holding"] = {**raw.get("holding", {}), "name": task.holding}
    raw["paddocks"] = {
        key: value
        for key, value in raw.get("paddocks", {}).items()
        if key not in ("boundaries", "layer")
    }
    _put_sources(raw, task, options, fields)
    _put_mobs(raw, task, options, fields)
    project = project_from_dict(raw, folder=template.parent, where=task.project)
    return Case(limited(project, options), fields, _place(fields))


def _template(path: Path) -> dict[str, Any]:
    """Return the tables of the template; it may lack what other files give."""
    try:
        return tomllib.loads(path.read_bytes().decode("utf-8-sig"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise InputError([Fault(str(path), f"cannot be read as a template: {error}")]) from error


def _place(fields: gpd.GeoDataFrame) -> tuple[float, float] | None:
    if fields.crs is None or fields.geometry.isna().all() or fields.geometry.is_empty.all():
        return None
    west, south, east, north = fields.to_crs(4326).total_bounds
    place = (float(west + east) / 2, float(south + north) / 2)
    return place if np.isfinite(place).all() else None


def _put_sources(
    raw: dict[str, Any], task: Task, options: BatchOptions, fields: gpd.GeoDataFrame
) -> None:
    """Set the sources from the file of all sources: those of the holding, or the nearest."""
    if options.sources is None:
        return
    given = raw.get("source", [])
    if options.sources.field is None:
        rows = _nearest(options.sources, fields)
    elif task.sources:
        rows = read_rows(options.sources, task.sources)
    else:
        _refuse_without(given, options.sources, task, words("batch.reason.no_source_row"))
        return
    raw["source"] = _named([
        {**_like(given, values), **values, **_at(shape, rows.crs, fields)}
        for values, shape in _values(rows, SourceSettings)
        if shape is not None and not shape.is_empty
    ], "source")  # fmt: skip


def _put_mobs(
    raw: dict[str, Any], task: Task, options: BatchOptions, fields: gpd.GeoDataFrame
) -> None:
    """Set the mobs from the file of all mobs, or scale those of the template to the area."""
    given = raw.get("mob", [])
    if options.mobs is not None and not task.mobs:
        _refuse_without(given, options.mobs, task, words("batch.reason.no_mob_row"))
    if options.mobs is not None and task.mobs:
        rows = read_rows(options.mobs, task.mobs)
        found = [{**_like(given, values), **values} for values, _ in _values(rows, MobSettings)]
        raw["mob"] = _named(found, "mob")
    if options.head_per_ha is not None and raw.get("mob"):
        area_ha = fields.to_crs(fields.estimate_utm_crs()).area.sum() / SQUARE_METRES_PER_HECTARE
        whole = sum(mob.get("head", 0) for mob in raw["mob"]) or 1
        raw["mob"] = [
            {**mob, "head": max(1, round(mob["head"] / whole * options.head_per_ha * area_ha))}
            for mob in raw["mob"]
            if mob.get("head")
        ]


def _refuse_without(given: list[Any], rows: Rows, task: Task, lack: str) -> None:
    """Refuse a holding that neither a file of all holdings nor the template gives anything."""
    if not given:
        raise InputError([
            Fault(
                rows.label, lack, found=words("batch.reason.not_named", field=rows.field),
                expected=task.holding, remedy=words("batch.reason.give_a_row"),
            )
        ])  # fmt: skip


def _nearest(rows: Rows, fields: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    near = read_near(rows, fields, _FARTHEST_SOURCE_M)
    if near.empty:
        raise InputError([
            Fault(rows.label, words("batch.reason.no_source", metres=_FARTHEST_SOURCE_M))
        ])  # fmt: skip
    return near.iloc[[0]]


def _like(given: list[dict[str, Any]], values: dict[str, Any]) -> dict[str, Any]:
    """Return the table of the template that a row goes by: of its name, its kind, else the first.

    What is said of the place does not carry over.
    """
    for key in ("name", "kind", "species"):
        for table in given:
            if values.get(key) is not None and table.get(key) == values[key]:
                return _without_place(table)
    return _without_place(given[0]) if given else {}


def _without_place(table: dict[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in table.items() if key not in ("at", "crs", "level_m")}


def _at(shape: shapely.Geometry, crs: Any, fields: gpd.GeoDataFrame) -> dict[str, Any]:
    """Return where a source stands: its point, or the point of a main nearest to the fields."""
    if not isinstance(shape, shapely.Point):
        metric = fields.estimate_utm_crs()
        main = gpd.GeoSeries([shape], crs=crs).to_crs(metric)
        nearest = shapely.shortest_line(main.iloc[0], fields.to_crs(metric).union_all())
        tapped = gpd.GeoSeries([shapely.get_point(nearest, 0)], crs=metric)
        shape = tapped.to_crs(crs).iloc[0]
    return {"at": [shape.x, shape.y], "crs": crs.to_string()}


def _values(
    rows: pd.DataFrame, model: type[BaseModel]
) -> list[tuple[dict[str, Any], shapely.Geometry | None]]:
    """Return what the columns of each row say, under the keys of a settings table."""
    shapes = list(rows.geometry) if isinstance(rows, gpd.GeoDataFrame) else [None] * len(rows)
    columns = {str(name).lower(): name for name in rows.columns}
    found = []
    for (_, row), shape in zip(rows.iterrows(), shapes, strict=True):
        values = {}
        for key, field in model.model_fields.items():
            if key not in columns or key in ("at", "crs"):
                continue
            value = row[columns[key]]
            if pd.api.types.is_scalar(value) and pd.notna(value) and value != "":
                values[key] = _as_setting(value, field.annotation)
        found.append((values, shape))
    return found


def _as_setting(value: Any, annotation: Any) -> Any:
    """Return a cell as the type that a setting has; what does not fit is left to be refused."""
    value = value.item() if hasattr(value, "item") else value
    kinds = {annotation, *get_args(annotation)} | {
        inner for part in get_args(annotation) for inner in get_args(part)
    }
    if bool in kinds and value in (0, 1):
        return bool(value)
    if isinstance(value, float) and value.is_integer() and int in kinds:
        return int(value)
    if isinstance(value, str) and any("list" in str(kind) for kind in kinds) and value != "all":
        return [name.strip() for name in value.split(";") if name.strip()]
    if isinstance(value, int | float) and str in kinds and not kinds & {int, float}:
        return str(value)
    return value


def _named(tables: list[dict[str, Any]], kind: str) -> list[dict[str, Any]]:
    """Return tables under names of their own: of one name, the later are numbered."""
    named: list[dict[str, Any]] = []
    taken: set[str] = set()
    for table in tables:
        wanted = str(table.get("name") or kind)
        name, number = wanted, 1
        while name in taken:
            number += 1
            name = f"{wanted} {number}"
        taken.add(name)
        named.append({**table, "name": name})
    return named
