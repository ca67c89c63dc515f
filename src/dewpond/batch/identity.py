"""What a result depends on, as one digest: unchanged, it need not be worked out again."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path
from typing import Any

import shapely

from dewpond.base.digests import file_digest, files_of
from dewpond.batch.case import Case
from dewpond.batch.options import BatchOptions
from dewpond.plan import library_versions

_FORM = "1"
"""Raised when a record holds something else than it did before."""


def identity(case: Case, options: BatchOptions) -> str:
    """Return a digest of everything that the results of one holding depend on.

    Its settings, the bytes of every file they name (boundaries, features, rasters with all
    members of a virtual one, tables), its own rows of a shared file, what is written, and the
    versions of dewpond and of the libraries that can change a figure.

    Raises
    ------
    OSError
        When a file that is there cannot be read.
    """
    project = case.project
    settings = project.model_dump(mode="json")
    parts = {
        "form": _FORM,
        "settings": settings,
        "files": {
            written: _file_part(project.folder / written)
            for written in sorted(set(_texts(settings)))
            if _may_be_file(project.folder, written)
        },
        "fields": "" if case.paddocks is None else _rows_digest(case.paddocks),
        "documents": options.documents,
        "versions": library_versions(),
    }
    text = json.dumps(parts, sort_keys=True, ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()


def _texts(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for item in value.values():
            yield from _texts(item)
    elif isinstance(value, list):
        for item in value:
            yield from _texts(item)


def _may_be_file(folder: Path, written: str) -> bool:
    try:
        return bool(written) and (folder / written).exists()
    except (OSError, ValueError):  # too long, or signs that no path has
        return False


@lru_cache(maxsize=256)
def _file_part(path: Path) -> str:
    """Return one digest of the files of a data source; looked at once in a process."""
    digest = hashlib.sha256()
    for part in files_of(path):
        digest.update(f"{part.name}\n{file_digest(part)}\n".encode())
    return digest.hexdigest()


def _rows_digest(rows: Any) -> str:
    digest = hashlib.sha256(str(rows.crs).encode())
    digest.update(rows.drop(columns=rows.geometry.name).to_csv(index=False).encode())
    for blob in shapely.to_wkb(rows.geometry.to_numpy()):
        digest.update(blob or b"-")
    return digest.hexdigest()
