"""A project with some settings otherwise, checked like any project file."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from dewpond.base.errors import Fault, InputError, nearest_name
from dewpond.base.model import Change
from dewpond.base.settings import Project, WhatIfSettings, project_from_dict

_BY_NAME = ("mob", "source")


def varied_project(project: Project, what_if: WhatIfSettings, where: str = "") -> Project:
    """Return the project with the changes of one what-if.

    Tables are changed key by key; mobs and sources are found by their names. The result holds
    no what-ifs of its own and cuts no breaks: neither bears on what is compared.

    Parameters
    ----------
    project : Project
    what_if : WhatIfSettings
    where : str, optional
        What to call the what-if in messages.

    Raises
    ------
    InputError
        With every key that is not known and every value that will not do.
    """
    where = where or f'[[what_if]] "{what_if.name}"'
    raw = project.model_dump(exclude_unset=True, exclude={"what_if", "breaks"})
    faults: list[Fault] = []
    for table, change in what_if.changes().items():
        if table in _BY_NAME:
            raw[table] = _merge_by_name(raw[table], change, f"{where}, [[{table}]]", faults)
        else:
            raw[table] = {**raw.get(table, {}), **change}
    if faults:
        raise InputError(faults)
    return project_from_dict(raw, folder=project.folder, where=where)


def changes_of(project: Project, varied: Project, what_if: WhatIfSettings) -> tuple[Change, ...]:
    """Return the settings that a what-if names and that do differ, in its order."""
    before, after = project.model_dump(), varied.model_dump()
    found = []
    for path in _paths(what_if.changes()):
        old, new = _look_up(before, path), _look_up(after, path)
        if old != new:
            found.append(Change(".".join(path), spell(new), "" if old is None else spell(old)))
    return tuple(found)


def spell(value: Any) -> str:
    """Spell a value as it would stand in the project file, text without its quotes."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return f"{value:.12g}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(spell(item) for item in value) + "]"
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{key} = {spell(item)}" for key, item in value.items()) + " }"
    return "" if value is None else str(value)


def _merge_by_name(
    standing: Sequence[Mapping[str, Any]],
    changed: Sequence[Mapping[str, Any]],
    where: str,
    faults: list[Fault],
) -> list[dict[str, Any]]:
    merged = {entry["name"]: dict(entry) for entry in standing}
    for change in changed:
        name = change.get("name")
        if name is None:
            faults.append(Fault(where, "has no name", remedy="name the one that is otherwise"))
        elif name not in merged:
            remedy = nearest_name(str(name), merged)
            faults.append(Fault(where, "no such name", found=f'"{name}"', remedy=remedy))
        else:
            merged[name].update(change)
    return list(merged.values())


def _paths(changes: Mapping[str, Any]) -> Iterator[tuple[str, ...]]:
    for table, change in changes.items():
        if table in _BY_NAME:
            for entry in change:
                yield from ((table, entry["name"], key) for key in entry if key != "name")
        else:
            yield from ((table, key) for key in change)


def _look_up(raw: Mapping[str, Any], path: tuple[str, ...]) -> Any:
    if path[0] in _BY_NAME:
        return next(entry for entry in raw[path[0]] if entry["name"] == path[1])[path[2]]
    return raw[path[0]][path[1]]
