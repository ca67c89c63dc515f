"""Paths as written in the project file, and the digest of every file that was read."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable
from pathlib import Path

from dewpond.base.digests import file_digest
from dewpond.steps.read.notes import Notes

LARGEST_WHOLE_BYTES = 1 << 30
"""Rasters with more are not read from end to end for the sake of their digest."""

_NEEDED_PARTS = (".shx", ".dbf")
_SHAPEFILE_PARTS = (".dbf", ".shx", ".prj", ".cpg")


def locate(written: str, folder: Path) -> Path:
    """Return where a path of the project file points; relative paths start at its folder."""
    return folder / written


def is_readable(written: str, folder: Path, where: str, notes: Notes) -> bool:
    """Check that a file exists and is not empty; a fault for each that fails."""
    path = locate(written, folder)
    if path.is_dir():
        return True
    if not path.exists():
        notes.fault(
            where,
            f"the file {written} does not exist",
            found=f"nothing at {path}",
            remedy="check the path; it is taken relative to the project file",
        )
        return False
    if path.stat().st_size == 0:
        notes.fault(
            where,
            f"the file {written} is empty",
            found="0 bytes",
            remedy="export or download the file again",
        )
        return False
    return _has_shapefile_parts(written, path, where, notes)


def _has_shapefile_parts(written: str, path: Path, where: str, notes: Notes) -> bool:
    """Check that a shapefile has the files beside it without which it cannot be read."""
    if path.suffix.lower() != ".shp":
        return True
    present = {part.suffix.lower() for part in vector_parts(path)}
    missing = [suffix for suffix in _NEEDED_PARTS if suffix not in present]
    if missing:
        notes.fault(
            where,
            f"the shapefile {written} is not whole",
            found=f"no {path.stem}{missing[0]} beside it"
            + "".join(f", nor {path.stem}{suffix}" for suffix in missing[1:]),
            expected="all files of the shapefile in one folder",
            remedy="copy all files of that name that were delivered with it, or ask for a "
            "GeoPackage",
        )
    return not missing


def record_digests(written: str, paths: Iterable[Path], folder: Path, notes: Notes) -> None:
    """Record the SHA-256 of a file and of the files that belong to it.

    The file itself goes under the path as written; those beside, behind or inside it (a
    projection file, the members of a virtual raster, the files of a folder that is one data
    source) under their path relative to the project file.
    """
    main = locate(written, folder)
    inside = list(main.rglob("*")) if main.is_dir() else []
    for path in sorted({main, *paths, *inside}):
        if path.is_file():
            key = written if path == main else _relative(path, folder)
            notes.inputs[key] = file_digest(path)


def record_raster(
    written: str,
    paths: Iterable[Path],
    folder: Path,
    heights: Callable[[], bytes],
    notes: Notes,
) -> None:
    """Record the SHA-256 of the files of a raster; of large ones that of the heights read.

    A raster of a whole country takes minutes to read from end to end, its window none.
    """
    main, large = locate(written, folder), False
    for path in sorted({main, *paths}):
        if not path.is_file():
            continue
        if path.stat().st_size > LARGEST_WHOLE_BYTES:
            large = True
            continue
        key = written if path == main else _relative(path, folder)
        notes.inputs[key] = file_digest(path)
    if large:
        notes.inputs[f"{written} (heights read)"] = hashlib.sha256(heights()).hexdigest()


def vector_parts(path: Path) -> list[Path]:
    """Return the files beside a shapefile that hold part of it."""
    if path.suffix.lower() != ".shp":
        return []
    return [
        item
        for suffix in _SHAPEFILE_PARTS
        for item in (path.with_suffix(suffix), path.with_suffix(suffix.upper()))
        if item.is_file()
    ]


def _relative(path: Path, folder: Path) -> str:
    try:
        return path.relative_to(folder).as_posix()
    except ValueError:
        return path.as_posix()
