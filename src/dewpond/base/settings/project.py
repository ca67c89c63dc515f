"""The whole project file: read from TOML, every fault of form reported at once."""

from __future__ import annotations

import tomllib
from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, get_args, get_origin

from pydantic import BaseModel, Field, ValidationError

from dewpond.base.errors import Fault, InputError, nearest_name
from dewpond.base.settings.breaks import BreaksSettings
from dewpond.base.settings.command import CommandAreaSettings
from dewpond.base.settings.compare import WhatIfSettings
from dewpond.base.settings.confidence import ConfidenceSettings
from dewpond.base.settings.costing import CostingSettings, GrantSettings
from dewpond.base.settings.data import (
    FeaturesSettings,
    HoldingSettings,
    PaddocksSettings,
    TerrainSettings,
)
from dewpond.base.settings.design import (
    DemandSettings,
    DesignSettings,
    LayoutSettings,
    PricesSettings,
    RoutingSettings,
    SitingSettings,
    WalkingSettings,
)
from dewpond.base.settings.documents import DocumentsSettings
from dewpond.base.settings.fields import Table
from dewpond.base.settings.stock import MobSettings, SourceSettings
from dewpond.base.settings.water import PipeSettings, SupplySettings, TroughSettings

_REPEATED = ("mob", "source", "grant", "what_if")


class Project(Table):
    """A project file: everything a plan depends on besides the data it names."""

    holding: HoldingSettings
    terrain: TerrainSettings = TerrainSettings()
    paddocks: PaddocksSettings = PaddocksSettings()
    features: FeaturesSettings = FeaturesSettings()
    mob: list[MobSettings] = Field(min_length=1, description="The mobs, one table each.")
    source: list[SourceSettings] = Field(min_length=1, description="The sources, one table each.")
    design: DesignSettings = DesignSettings()
    demand: DemandSettings = DemandSettings()
    walking: WalkingSettings = WalkingSettings()
    siting: SitingSettings = SitingSettings()
    routing: RoutingSettings = RoutingSettings()
    layout: LayoutSettings = LayoutSettings()
    pipe: PipeSettings = PipeSettings()
    trough: TroughSettings = TroughSettings()
    supply: SupplySettings = SupplySettings()
    prices: PricesSettings = PricesSettings()
    costing: CostingSettings = CostingSettings()
    grant: list[GrantSettings] = Field(default=[], description="Grants, one table each.")
    confidence: ConfidenceSettings = ConfidenceSettings()
    documents: DocumentsSettings = DocumentsSettings()
    command_area: CommandAreaSettings = CommandAreaSettings()
    breaks: BreaksSettings | None = Field(default=None, description="Breaks, if any are cut.")
    what_if: list[WhatIfSettings] = Field(default=[], description="What to compare with.")
    folder: Path = Field(default=Path(), exclude=True, strict=False)
    """Folder that the paths are relative to; not part of the file."""


def load_project(path: str | Path) -> Project:
    """Read a project file.

    Raises
    ------
    InputError
        With one fault per unreadable, unknown, missing or ill-valued key; all at once.
    """
    path = Path(path)
    try:
        text = path.read_bytes().decode("utf-8-sig")
        raw = tomllib.loads(text)
    except OSError as error:
        raise InputError([_unreadable(path, error)]) from error
    except UnicodeDecodeError as error:
        fault = Fault(str(path), "is not UTF-8 text", remedy="save the project file as UTF-8")
        raise InputError([fault]) from error
    except tomllib.TOMLDecodeError as error:
        fault = Fault(str(path), f"is not valid TOML: {error}", remedy="mend that line")
        raise InputError([fault]) from error
    return project_from_dict(raw, folder=path.parent, where=str(path))


def project_from_dict(
    raw: Mapping[str, Any], folder: str | Path = ".", where: str = "project"
) -> Project:
    """Check a nested mapping with the tables of a project file and return it frozen.

    Raises
    ------
    InputError
        As `load_project`.
    """
    if "folder" in raw:
        raise InputError([Fault(where, "[folder] is not a table of the project file")])
    try:
        project = Project.model_validate({**raw, "folder": Path(folder)})
    except ValidationError as error:
        raise InputError(_fault(item, where) for item in _distinct(error)) from error
    faults = _repeated(project, where) + _unknown_source(project, where)
    faults += _unknown_feeds(project, where)
    if faults:
        raise InputError(faults)
    return project


def without_confidence(project: Project) -> Project:
    """Return a project that is one of many: how sure it is stays open unless it was asked for."""
    if project.confidence.assess is not None:
        return project
    settings = project.confidence.model_copy(update={"assess": False})
    return project.model_copy(update={"confidence": settings})


def _unreadable(path: Path, error: OSError) -> Fault:
    reason = error.strerror or str(error)
    remedy = "check the path" if isinstance(error, FileNotFoundError) else ""
    return Fault(str(path), f"cannot be read ({reason})", expected="a project file", remedy=remedy)


def _distinct(error: ValidationError) -> list[Mapping[str, Any]]:
    """Return one error per key: a union of types reports each branch, the reader needs one.

    Where a branch got further into the value than the others it is the one that was meant, and
    the others are dropped; where all failed alike, their expectations are joined by "or".
    """
    kept: dict[tuple[int | str, ...], dict[str, Any]] = {}
    for item in error.errors(include_url=False):
        path = _key_path(item["loc"])
        if path in kept and item["msg"] not in kept[path]["msg"]:
            kept[path]["msg"] += " or " + _expectation(item["msg"])
        kept.setdefault(path, dict(item))
    return [
        item
        for path, item in kept.items()
        if not any(len(other) > len(path) and other[: len(path)] == path for other in kept)
    ]


def _key_path(location: Sequence[int | str]) -> tuple[int | str, ...]:
    """Drop the names of union branches that pydantic puts between the keys."""
    path: list[int | str] = []
    model: type[BaseModel] | None = Project
    for part in location:
        fields = model.model_fields if model is not None else {}
        if isinstance(part, str) and part in fields:
            model = _model_of(fields[part].annotation)
        elif isinstance(part, str) and path and _is_branch(part):
            continue
        path.append(part)
    return tuple(path)


def _expectation(message: str) -> str:
    return message.removeprefix("Input should be ").removeprefix("Input ")


def _is_branch(part: str) -> bool:
    return "[" in part or part in {"str", "VectorFile", "float", "int", "bool"}


def _model_of(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    if get_origin(annotation) is None:
        return None
    return next(filter(None, (_model_of(arg) for arg in get_args(annotation))), None)


def _fault(item: Mapping[str, Any], where: str) -> Fault:
    path = _key_path(item["loc"])
    place = f"{where}, {_spell(path)}" if path else where
    kind = item["type"]
    if kind == "extra_forbidden":
        return Fault(place, "is not a known key", remedy=nearest_name(str(path[-1]), _keys(path)))
    if kind == "missing":
        return Fault(place, "is missing", expected=_describe(path))
    found = item.get("input")
    message = item["msg"].removeprefix("Value error, ")
    shown = "" if isinstance(found, dict | list) and len(str(found)) > 80 else repr(found)
    expected = _expectation(message)
    if kind == "value_error":
        return Fault(place, message)
    return Fault(place, "has a value that will not do", found=shown, expected=expected)


def _walk_model(path: Sequence[int | str]) -> type[BaseModel] | None:
    model: type[BaseModel] | None = Project
    for part in path:
        if isinstance(part, str) and model is not None:
            field = model.model_fields.get(part)
            model = _model_of(field.annotation) if field else None
    return model


def _keys(path: Sequence[int | str]) -> list[str]:
    model = _walk_model(path[:-1])
    return [key for key in (model.model_fields if model else {}) if key != "folder"]


def _describe(path: Sequence[int | str]) -> str:
    model = _walk_model(path[:-1])
    field = model.model_fields.get(str(path[-1])) if model else None
    return (field.description or "").rstrip(".") if field else ""


def _spell(path: Sequence[int | str]) -> str:
    """Spell a key as it stands in the file: ``[[mob]] 2, weight_kg``."""
    words: list[str] = []
    for position, part in enumerate(path):
        if isinstance(part, int):
            words[-1] = f"{words[-1]} {part + 1}"
        elif position == 0:
            words.append(f"[[{part}]]" if part in _REPEATED else f"[{part}]")
        else:
            words.append(str(part))
    return ", ".join(words)


def _repeated(project: Project, where: str) -> list[Fault]:
    faults = []
    for table, names in (
        ("mob", [mob.name for mob in project.mob]),
        ("source", [source.name for source in project.source]),
        ("grant", [grant.name for grant in project.grant]),
        ("what_if", [what_if.name for what_if in project.what_if]),
    ):
        for name, count in Counter(names).items():
            if count > 1:
                faults.append(
                    Fault(
                        f"{where}, [[{table}]]",
                        f'the name "{name}" stands {count} times',
                        remedy="give each its own name",
                    )
                )
    return faults


def _unknown_source(project: Project, where: str) -> list[Fault]:
    name = project.design.source
    names = [source.name for source in project.source]
    if name is None or name in names:
        return []
    return [
        Fault(
            f"{where}, [design], source",
            "no [[source]] has that name",
            found=f'"{name}"',
            remedy=nearest_name(name, names),
        )
    ]


def _unknown_feeds(project: Project, where: str) -> list[Fault]:
    """Return a fault for each tank fed by what is not there, by itself, or not a tank at all."""
    names = [source.name for source in project.source]
    faults = []
    for number, source in enumerate(project.source, start=1):
        if source.fed_by is None:
            continue
        place = f"{where}, [[source]] {number}, fed_by"
        feeds = {other.name: other for other in project.source}.get(source.fed_by)
        if source.kind != "header_tank":
            faults.append(Fault(place, "is for a header tank only", found=source.kind))
        if feeds is None:
            remedy = nearest_name(source.fed_by, names)
            faults.append(Fault(
                place, "no [[source]] has that name", found=f'"{source.fed_by}"', remedy=remedy
            ))  # fmt: skip
        elif feeds.fed_by is not None:
            faults.append(Fault(
                place,
                "names a tank that is fed by another source itself",
                found=f'"{source.fed_by}"',
                remedy="name the source that the water first comes from",
            ))  # fmt: skip
    return faults
