"""What a batch is asked to do: where its holdings come from, and what each may use."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from dewpond.base.errors import Fault, InputError

_LEAST_MEMORY_MB = 400
_SHARE_OF_MEMORY = 0.8


@dataclass(frozen=True)
class Rows:
    """Rows of a vector file or table that belong to holdings.

    Attributes
    ----------
    path : str
        Any OGR format.
    layer : str, optional
        Needed when the file holds several.
    field : str, optional
        Names the holding of each row; for sources it may be left out: then the nearest serves.
    copied_from : str, optional
        The file that the user named, where `path` is a copy of it.
    """

    path: str
    layer: str | None = None
    field: str | None = None
    copied_from: str | None = None

    @property
    def label(self) -> str:
        """The file as messages name it."""
        return self.copied_from or self.path


@dataclass(frozen=True)
class BatchOptions:
    """Options of a batch; the defaults suit one machine.

    Attributes
    ----------
    holdings : Rows, optional
        Field boundaries of all holdings, with the field that names the holding; the input is
        then a template project. Left out, the input is a folder of project files.
    sources, mobs : Rows, optional
        Sources and mobs of all holdings, columns named as the keys of the project file; what a
        column does not say comes from the template.
    head_per_ha : float, optional
        Head for each hectare of fields: the mobs of the template are scaled to it.
    processes : int, optional
        Holdings planned at a time; left out, one a core.
    memory_mb : int, optional
        Most memory of one holding [MB]; left out, four fifths of the machine's over `processes`.
    holding_s : float
        Longest time that one holding may take [s].
    search_s : float
        Effort of the search in one holding, in seconds of a present-day core.
    documents : bool
        Whether to write every document of each holding, or features and figures only.
    confidence : bool
        Whether to say how sure each plan is, where its project file does not say itself.
    again : bool
        Whether to plan finished holdings anew.
    cluster : str, optional
        Address of a running dask scheduler.
    """

    holdings: Rows | None = None
    sources: Rows | None = None
    mobs: Rows | None = None
    head_per_ha: float | None = None
    processes: int | None = None
    memory_mb: int | None = None
    holding_s: float = 300.0
    search_s: float = 5.0
    documents: bool = False
    confidence: bool = False
    again: bool = False
    cluster: str | None = None

    def __post_init__(self) -> None:
        faults = [
            Fault(name, "has a value that will not do", found=str(value), expected=expected)
            for name, value, fits, expected in self._checks()
            if value is not None and not fits(value)
        ]
        if self.holdings is not None and self.holdings.field is None:
            faults.append(Fault(
                "--holdings", "does not say which field names the holding",
                remedy="give --holding-field",
            ))  # fmt: skip
        if self.holdings is None and (self.sources or self.mobs or self.head_per_ha):
            faults.append(Fault(
                "--sources, --mobs, --head-per-ha", "go with --holdings only",
                remedy="give the boundaries of all holdings with --holdings",
            ))  # fmt: skip
        if self.mobs is not None and self.head_per_ha is not None:
            faults.append(
                Fault("--head-per-ha", "stands beside --mobs", remedy="give one of them")
            )
        if faults:
            raise InputError(faults)

    def _checks(self) -> list[tuple[str, Any, Any, str]]:
        return [
            ("--processes", self.processes, lambda v: v >= 1, "1 or more"),
            (
                "--memory-mb", self.memory_mb, lambda v: v >= _LEAST_MEMORY_MB,
                f"{_LEAST_MEMORY_MB} or more",
            ),
            ("--holding-seconds", self.holding_s, lambda v: v > 0, "more than 0"),
            ("--search-seconds", self.search_s, lambda v: v > 0, "more than 0"),
            ("--head-per-ha", self.head_per_ha, lambda v: v > 0, "more than 0"),
        ]  # fmt: skip

    @property
    def slots(self) -> int:
        """Holdings planned at a time on this machine."""
        return self.processes or usable_cores()

    @property
    def most_memory_mb(self) -> int | None:
        """Most memory of one holding [MB]; None where the machine does not tell its own."""
        if self.memory_mb is not None:
            return self.memory_mb
        whole_mb = _machine_memory_mb()
        if whole_mb is None:
            return None
        return max(_LEAST_MEMORY_MB, int(_SHARE_OF_MEMORY * whole_mb / self.slots))

    def as_json(self) -> dict[str, Any]:
        """Return the options as values that JSON can hold."""
        return asdict(self)

    @classmethod
    def from_json(cls, values: Mapping[str, Any]) -> BatchOptions:
        """Return the options that `as_json` gave."""
        rows = {
            name: Rows(**values[name]) if values[name] else None
            for name in ("holdings", "sources", "mobs")
        }
        return cls(**{**values, **rows})


def usable_cores() -> int:
    """Return the number of cores that this process may run on."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _machine_memory_mb() -> float | None:
    try:
        return os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE") / 2**20
    except (AttributeError, ValueError, OSError):
        return None
