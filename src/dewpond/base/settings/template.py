"""A commented project file, made from the settings themselves so that it cannot go stale."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping
from typing import Any, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo
from pydantic_core import PydanticUndefined

from dewpond.base.settings.project import Project

# What a first-time reader should see for keys that have no default; an invented place.
_EXAMPLES: Mapping[str, Any] = {
    "holding.name": "Harrowmere",
    "terrain.elevation": "terrain.tif",
    "paddocks.boundaries": "paddocks.geojson",
    "mob.name": "sucklers",
    "mob.species": "cattle",
    "mob.head": 52,
    "mob.weight_kg": 640.0,
    "mob.lactating": True,
    "source.name": "road main",
    "source.kind": "mains",
    "source.at": [-2.101, 54.012],
    "source.static_pressure_bar": 3.2,
    "source.bucket_l": 12.0,
    "source.bucket_s": 33.0,
    "grant.name": "trough, LV7",
    "grant.pays_for": ["trough-fixed"],
    "what_if.name": "walk of 200 m",
}

_OPTIONAL_EXAMPLES: Mapping[str, str] = {
    "confidence.assess": "true",
    "holding.crs": '"EPSG:27700"',
    "terrain.height_unit": '"metre"',
    "terrain.height_datum": '"Newlyn"',
    "terrain.height_data": '"lidar 1 m"',
    "terrain.height_standard_deviation_m": "0.3",
    "terrain.correlation_length_m": "80.0",
    "terrain.height_long_share": "0.05",
    "terrain.long_correlation_length_m": "10000.0",
    "terrain.levels": '"levels.csv"',
    "terrain.levels_crs": '"EPSG:27700"',
    "terrain.levels_datum": '"Newlyn"',
    "terrain.levels_deviation_m": "0.05",
    "features.keep_out": '"keep_out.geojson"',
    "features.tracks": '"tracks.geojson"',
    "features.watercourses": '"watercourses.geojson"',
    "features.gates": '"gates.geojson"',
    "features.existing_pipe": '{ path = "pipe.gpkg", layer = "pipe" }',
    "mob.trough": '"fixed"',
    "mob.period.months": "[4, 5, 6]",
    "mob.period.head": "60",
    "mob.period.lactating": "true",
    "mob.period.paddocks": '["Long Ling"]',
    "design.source": '"road main"',
    "breaks.target_ha": "1.0",
    "command_area.source": '"header tank"',
    "command_area.flow_l_min": "20.0",
    "command_area.head_m": "3.0",
    "command_area.outside_diameter_mm": "32.0",
    "costing.price_list": '"schedule_prices.csv"',
    "costing.budget": "12000.0",
    "grant.each": "152.92",
    "grant.share": "0.4",
    "paddocks.parcel_field": '"parcel"',
}


def template() -> str:
    """Return a project file with every table and key, its meaning, default and source.

    Keys that must be given hold an example; keys left to their default are commented out where
    they have no value.
    """
    parts = [
        "# A dewpond project file (TOML). Paths are relative to this file.",
        "# A key that starts with # may be left out.",
    ]
    for name, field in Project.model_fields.items():
        model = _table_model(field.annotation)
        if model is None:
            continue
        repeated = get_origin(field.annotation) is list
        header = f"[[{name}]]" if repeated else f"[{name}]"
        parts.append("")
        parts.extend(_comment(_summary(model)))
        lines = [header]
        within = _tables_within(model)
        for key, inner in model.model_fields.items():
            if key not in within:
                lines.extend(_entry(f"{name}.{key}", key, inner))
        # Keys after a table inside would be taken for its own, so those tables come last.
        for key, part in within.items():
            lines.extend(_inner_table(name, key, model.model_fields[key], part))
        # A table that does something by being there is not switched on by a template.
        off = field.default is None or field.default == []
        parts.extend(_switched_off(lines) if off else lines)
    return "\n".join(parts) + "\n"


def _table_model(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next(filter(None, (_table_model(arg) for arg in get_args(annotation))), None)


def _tables_within(model: type[BaseModel]) -> dict[str, type[BaseModel]]:
    """Return the keys of a table that hold tables themselves and nothing else."""
    found = {}
    for key, field in model.model_fields.items():
        part = _table_model(field.annotation)
        others = set(get_args(field.annotation)) - {part, type(None)}
        if part is not None and not others and field.annotation is not part:
            found[key] = part
    return found


def _inner_table(name: str, key: str, field: FieldInfo, part: type[BaseModel]) -> list[str]:
    """Return a table inside a table, switched off: none stands unless it is wanted."""
    repeated = get_origin(field.annotation) is list
    header = f"[[{name}.{key}]]" if repeated else f"[{name}.{key}]"
    lines = [*_comment(field.description or ""), header]
    for inner_key, inner in part.model_fields.items():
        lines.extend(_entry(f"{name}.{key}.{inner_key}", inner_key, inner))
    return _switched_off(lines)


def _summary(model: type[BaseModel]) -> str:
    return (model.__doc__ or "").strip().splitlines()[0].split(": ``")[0]


def _entry(path: str, key: str, field: FieldInfo) -> list[str]:
    extra = field.json_schema_extra
    source = extra.get("source") if isinstance(extra, dict) else None
    note = (field.description or "") + (f" [{source}]" if source else "")
    lines = _comment(note)
    if path in _EXAMPLES:
        return [*lines, f"{key} = {_toml(_EXAMPLES[path])}"]
    if field.default is None or field.default is PydanticUndefined:
        return [*lines, f"# {key} = {_OPTIONAL_EXAMPLES.get(path, '...')}"]
    return [*lines, f"{key} = {_toml(field.default)}"]


def _switched_off(lines: list[str]) -> list[str]:
    return [line if line.startswith("#") else f"# {line}" for line in lines]


def _comment(text: str) -> list[str]:
    return [f"# {line}" for line in textwrap.wrap(text, 90)]


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        escaped = value.replace("\\", "\\\\").replace('"', '\\"')
        return f'"{escaped}"'
    if isinstance(value, dict):
        return "{}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_toml(item) for item in value) + "]"
    return repr(value)
