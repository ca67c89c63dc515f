"""SHA-256 of files, each file read once: large rasters are shared by many plans.

A digest is kept in memory for as long as size and time of last change of the file stay the same,
and, where a folder is named, on disk for other processes and later runs.
"""

from __future__ import annotations

import hashlib
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from xml.etree import ElementTree

_WORTH_KEEPING_BYTES = 1 << 20
_SETTLED_NS = 2_000_000_000
"""A file changed less than 2 s ago might change again within the same tick of its clock."""

_Stamp = tuple[str, int, int]
_known: dict[_Stamp, str] = {}
_folders: list[Path] = []


def file_digest(path: Path) -> str:
    """Return the SHA-256 of a file as hexadecimal text.

    Raises
    ------
    OSError
        When the file cannot be read.
    """
    status = path.stat()
    stamp = (str(path.resolve()), status.st_size, status.st_mtime_ns)
    if stamp in _known:
        return _known[stamp]
    digest = _stored(stamp) or _read(path)
    if time.time_ns() - status.st_mtime_ns > _SETTLED_NS:
        _known[stamp] = digest
        _store(stamp, digest)
    return digest


@contextmanager
def digests_kept_in(folder: Path) -> Iterator[None]:
    """Keep the digests of large files in a folder while this holds."""
    _folders.append(folder)
    try:
        yield
    finally:
        _folders.remove(folder)


def files_of(path: Path) -> list[Path]:
    """Return the files that a data source is made of, in order of their paths.

    The file itself; those beside it that bear its name (the parts of a shapefile, world and
    projection files); the files in a folder that is one data source; and the members of a virtual
    raster, with theirs.
    """
    found: set[Path] = set()
    _gather(path, found)
    return sorted(found)


def _gather(path: Path, found: set[Path]) -> None:
    if path in found:
        return
    if path.is_dir():
        found.update(part for part in path.rglob("*") if part.is_file())
        return
    if not path.is_file():
        return
    found.add(path)
    found.update(
        beside
        for beside in path.parent.glob(_literal(path.stem) + ".*")
        if beside.is_file() and beside.suffix.lower() in _BESIDE
    )
    if path.suffix.lower() == ".vrt":
        for member in _members(path):
            _gather(member, found)


_BESIDE = {
    ".dbf", ".shx", ".prj", ".cpg", ".tfw", ".tifw", ".wld", ".aux", ".xml", ".ovr", ".msk",
    ".hdr", ".jgw", ".pgw", ".bpw", ".blw", ".asw",
}  # fmt: skip


def _literal(stem: str) -> str:
    """Keep a name from being read as a pattern."""
    return "".join(f"[{letter}]" if letter in "*?[" else letter for letter in stem)


def _members(path: Path) -> list[Path]:
    """Return the files that a virtual raster names; none where it cannot be read."""
    with suppress(ElementTree.ParseError, OSError):
        return [
            path.parent / (name.text or "") if name.get("relativeToVRT") == "1"
            else Path(name.text or "")
            for name in ElementTree.parse(path).iter("SourceFilename")
        ]  # fmt: skip
    return []


def _read(path: Path) -> str:
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _place(stamp: _Stamp, folder: Path) -> Path:
    return folder / hashlib.sha256(repr(stamp).encode()).hexdigest()


def _stored(stamp: _Stamp) -> str:
    for folder in _folders:
        with suppress(OSError):
            text = _place(stamp, folder).read_text(encoding="ascii")
            if len(text) == 64:
                return text
    return ""


def _store(stamp: _Stamp, digest: str) -> None:
    """Keep a digest on disk; a full or read-only disk only costs the reading again."""
    if stamp[1] < _WORTH_KEEPING_BYTES:
        return
    for folder in _folders:
        target = _place(stamp, folder)
        part = target.with_name(f".{target.name}-{uuid.uuid4().hex}")
        with suppress(OSError):
            part.write_text(digest, encoding="ascii")
            part.replace(target)
