"""The holdings of a batch: found without opening what only concerns one of them."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from dewpond.base.errors import Fault, InputError
from dewpond.batch.options import BatchOptions, Rows
from dewpond.batch.reading import faults_of, rows_by_holding

_SAFE = re.compile(r"[a-z0-9][a-z0-9._-]{0,59}")
_UNSAFE = re.compile(r"[^a-z0-9._-]+")
_HASH_LETTERS = 10
_SLUG_LETTERS = 40


@dataclass(frozen=True)
class Task:
    """One holding to plan.

    Attributes
    ----------
    holding : str
        What it is called in the batch; no other bears the same.
    project : str
        Its project file, or the template.
    fields, sources, mobs : tuple of int
        Feature ids of its rows in the files of the options; empty without such a file.
    """

    holding: str
    project: str
    fields: tuple[int, ...] = ()
    sources: tuple[int, ...] = ()
    mobs: tuple[int, ...] = ()

    @property
    def folder(self) -> str:
        """Name of its folder: its own where that will do on any disk, else shortened."""
        return folder_name(self.holding)

    def as_json(self) -> dict[str, Any]:
        """Return the task as values that JSON can hold."""
        return asdict(self)

    @classmethod
    def from_json(cls, values: Mapping[str, Any]) -> Task:
        """Return the task that `as_json` gave."""
        lists = {name: tuple(values[name]) for name in ("fields", "sources", "mobs")}
        return cls(values["holding"], values["project"], **lists)


def folder_name(holding: str) -> str:
    """Return a name for a folder that no other holding gets, on disks of any kind.

    >>> folder_name("hill-farm"), folder_name("north/Hill Farm")
    ('hill-farm', 'north-hill-farm-6ef48dc03b')
    """
    if _SAFE.fullmatch(holding) and not holding.endswith("."):
        return holding
    slug = _UNSAFE.sub("-", holding.lower()).strip("-.")[:_SLUG_LETTERS].strip("-.") or "holding"
    return f"{slug}-{hashlib.sha256(holding.encode()).hexdigest()[:_HASH_LETTERS]}"


@dataclass(frozen=True)
class Found:
    """The holdings of a batch.

    Attributes
    ----------
    tasks : tuple of Task
        In the order of their names.
    nameless : int
        Rows of the file of all fields that name no holding; they are in no plan.
    """

    tasks: tuple[Task, ...]
    nameless: int = 0


def find_tasks(given: Path, output: Path, options: BatchOptions) -> Found:
    """Return the holdings of a batch.

    Raises
    ------
    InputError
        When there is none, or a file of all holdings cannot be read.
    """
    if options.holdings is None:
        return Found(_in_order(_project_files(given, output)))
    return _split(given, options, options.holdings)


def _in_order(tasks: list[Task]) -> tuple[Task, ...]:
    return tuple(sorted(tasks, key=lambda task: task.holding))


def _project_files(folder: Path, output: Path) -> list[Task]:
    if not folder.is_dir():
        raise InputError([
            Fault(
                str(folder), "is not a folder", expected="a folder of project files",
                remedy="for one template and the boundaries of all holdings give --holdings",
            )
        ])  # fmt: skip
    inside = output.resolve()
    found = [
        path
        for path in folder.rglob("*.toml")
        if path.is_file()
        and not any(part.startswith(".") for part in path.relative_to(folder).parts)
        and inside not in path.resolve().parents
    ]
    if not found:
        raise InputError([
            Fault(str(folder), "holds no project file", expected="files that end in .toml")
        ])  # fmt: skip
    return [
        Task(path.relative_to(folder).with_suffix("").as_posix(), str(path.resolve()))
        for path in found
    ]


def refuse_faults(given: Path, options: BatchOptions) -> None:
    """Refuse what is asked where a file of all holdings cannot be used, with every fault.

    Raises
    ------
    InputError
    """
    if options.holdings is None:
        return
    faults = [
        fault
        for rows, where, shapes in (
            (options.holdings, "--holdings", True),
            (options.sources, "--sources", True),
            (options.mobs, "--mobs", False),
        )
        if rows is not None
        for fault in faults_of(rows, where, shapes=shapes)
    ]
    if not given.is_file():
        text, expected = "is not a file", "the template project of all holdings"
        faults.insert(0, Fault(str(given), text, expected=expected))
    if faults:
        raise InputError(faults)


def _split(template: Path, options: BatchOptions, holdings: Rows) -> Found:
    fields = rows_by_holding(holdings)
    nameless = len(fields.pop("", ()))
    if not fields:
        raise InputError([Fault(holdings.label, "names no holding in any row")])
    sources, mobs = (
        rows_by_holding(rows) if rows is not None and rows.field else {}
        for rows in (options.sources, options.mobs)
    )
    tasks = [
        Task(
            holding, str(template.resolve()), ids, sources.get(holding, ()), mobs.get(holding, ())
        )
        for holding, ids in fields.items()
    ]
    return Found(_in_order(tasks), nameless)
