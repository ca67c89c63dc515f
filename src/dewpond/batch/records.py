"""What is kept of each holding: its rows, what they rest on, and which files stand for it."""

from __future__ import annotations

import json
import os
import shutil
import uuid
from contextlib import suppress
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from dewpond.outputs import check_folder

HOLDINGS, WORK = "holdings", "work"

Status = str
MET, SHORT, FAILED = "met", "short", "failed"


@dataclass(frozen=True)
class Record:
    """A finished holding.

    Attributes
    ----------
    holding : str
    status : str
        "met", "short" or "failed".
    identity : str
        Digest of what the result depends on; empty where it could not be told.
    rows : dict
        Its rows of each table.
    files : dict of str to int
        Size of every file in its folder, by path in it.
    seconds, peak_memory_mb : float or None
        What it took; no part of the results, for no second run repeats it.
    kind : str
        Of a failure: "input", "output", "internal", "memory", "time", "lost".
    """

    holding: str
    status: Status
    identity: str
    rows: dict[str, list[dict[str, Any]]]
    files: dict[str, int] = field(default_factory=dict)
    seconds: float | None = None
    peak_memory_mb: float | None = None
    kind: str = ""

    @property
    def reason(self) -> str:
        """Why it failed; empty where it did not."""
        return str(self.rows["holdings"][0]["reason"] or "")


class Store:
    """The records of a batch, one file each, in the folder of its results."""

    def __init__(self, output: Path) -> None:
        self.output = output
        self._records = output / WORK / "records"

    def folder_of(self, name: str) -> Path:
        """Return the folder of one holding's own results."""
        return self.output / HOLDINGS / name

    def read(self, name: str) -> Record | None:
        """Return a record; None where there is none that is whole."""
        try:
            return Record(**json.loads((self._records / f"{name}.json").read_bytes()))
        except (OSError, ValueError, TypeError):
            return None

    def write(self, name: str, record: Record) -> None:
        """Write a record, whole or not at all.

        Raises
        ------
        OSError
            When it cannot be written.
        """
        self._records.mkdir(parents=True, exist_ok=True)
        target = self._records / f"{name}.json"
        part = self._records / f".{name}-{uuid.uuid4().hex}"
        try:
            with part.open("w", encoding="utf-8") as stream:
                json.dump(asdict(record), stream, ensure_ascii=False)
                stream.flush()
                os.fsync(stream.fileno())
            part.replace(target)
        except BaseException:
            with suppress(OSError):
                part.unlink()
            raise

    def finished(self, name: str, identity: str) -> Record | None:
        """Return the record of a holding that was planned from just this, with all its files."""
        record = self.read(name)
        if record is None or record.status == FAILED or record.identity != identity:
            return None
        folder = self.folder_of(name)
        with suppress(OSError):
            if all((folder / path).stat().st_size == size for path, size in record.files.items()):
                return record
        return None

    def forget(self, name: str) -> None:
        """Take away the record and the results of a holding, before it is planned anew.

        Raises
        ------
        InputError
            When its folder holds files that are no part of its results.
        OSError
            When they cannot be taken away.
        """
        (self._records / f"{name}.json").unlink(missing_ok=True)
        folder = self.folder_of(name)
        if folder.exists():
            check_folder(folder)
            shutil.rmtree(folder)

    def others(self, names: set[str]) -> tuple[str, ...]:
        """Return the holdings on record besides those named by their folders."""
        found = []
        if self._records.is_dir():
            for path in sorted(self._records.glob("[!.]*.json")):
                name = path.name.removesuffix(".json")
                record = None if name in names else self.read(name)
                if record is not None:
                    found.append(record.holding)
        return tuple(found)

    def log(self, name: str, text: str) -> None:
        """Keep what a process printed before it failed; a log that cannot be kept is let go."""
        path = self.output / WORK / "logs" / f"{name}.txt"
        with suppress(OSError):
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text, encoding="utf-8")

    def tidy(self) -> None:
        """Take away what a run that was killed has left half-written."""
        for part in (self.output / HOLDINGS).glob(".*-unfinished"):
            shutil.rmtree(part, ignore_errors=True)
        for part in self._records.glob(".*"):
            with suppress(OSError):
                part.unlink()
