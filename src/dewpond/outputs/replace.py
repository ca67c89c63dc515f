"""Put a folder of results in place of an earlier one, whole or not at all."""

from __future__ import annotations

import json
import sqlite3
import tempfile
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path

from pyogrio.errors import DataSourceError

from dewpond.base.errors import Fault, InputError, OutputError

_BY_PRODUCTS = ("-wal", "-shm", "-journal", ".aux.xml", ".qmd")
"""Endings that desktop programs add to the name of a file they have opened."""
_SYSTEM_FILES = {".DS_Store", "Thumbs.db", "desktop.ini"}
_LISTED_NAMES = 5
_LISTINGS = ("summary.json", "comparison.json")


def replace_folder(
    folder: Path, writers: Mapping[str, Callable[[Path], None]], *, overwrite: bool
) -> tuple[Path, ...]:
    """Write files into a new folder and move it to where an earlier result may stand.

    Parameters
    ----------
    folder : Path
        Target; its parents are made when absent.
    writers : mapping of str to callable
        By path relative to the folder, with forward slashes; each writes the path it is given.
        One of them is ``summary.json`` or ``comparison.json``, whose ``files`` names them all.
    overwrite : bool
        Whether an earlier result may be replaced.

    Returns
    -------
    tuple of Path
        The files, in the order of `writers`.

    Raises
    ------
    InputError
        When something stands there that may not be replaced; nothing is written then.
    OutputError
        When writing or moving fails; the target is left as it was.
    """
    target = folder.resolve()
    check_folder(folder, overwrite=overwrite)
    made = _missing_parents(target)
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(
            prefix=f".{target.name}-",
            suffix="-unfinished",
            dir=target.parent,
            ignore_cleanup_errors=True,
        ) as temporary:
            # A folder made inside has the usual permissions; the temporary one is private.
            new = Path(temporary) / "new"
            for name, write in writers.items():
                (new / name).parent.mkdir(parents=True, exist_ok=True)
                write(new / name)
            _swap(new, target, Path(temporary) / "old")
    except (OSError, sqlite3.Error, DataSourceError) as error:
        _remove_empty(made)
        raise OutputError(
            f"{folder}: the result could not be written ({_reason(error)}); nothing was changed"
        ) from error
    except BaseException:
        _remove_empty(made)
        raise
    return tuple(folder / name for name in writers)


def check_folder(folder: str | Path, *, overwrite: bool = True) -> None:
    """Refuse to replace anything but an empty folder or an earlier result.

    Worth asking before a long run, so that its result does not turn out to have no place.

    Raises
    ------
    InputError
        When a file stands there, or a folder with files that are no part of a result.
    """
    shown, target = folder, Path(folder).resolve()
    if not target.exists():
        return
    if not target.is_dir():
        raise InputError([Fault(str(shown), "is a file", expected="a folder for the results")])
    strange = _strangers(target)
    if strange:
        names = ", ".join(strange[:_LISTED_NAMES])
        more = f" and {len(strange) - _LISTED_NAMES} more" if len(strange) > _LISTED_NAMES else ""
        raise InputError(
            [
                Fault(
                    str(shown),
                    "holds files that are no part of an earlier result, which would be lost",
                    found=names + more,
                    remedy="give another folder, or move them elsewhere",
                )
            ]
        )
    if not overwrite and any(target.iterdir()):
        raise InputError(
            [Fault(str(shown), "holds an earlier result", remedy="give another folder")]
        )


def _strangers(target: Path) -> list[str]:
    """Return the files, by relative path, that no earlier result of ours has written."""
    ours = _written_before(target)
    ours |= {name + ending for name in ours for ending in _BY_PRODUCTS}
    folders = {parent.as_posix() for name in ours for parent in Path(name).parents}
    return [
        path.relative_to(target).as_posix()
        for path in sorted(target.rglob("*"))
        if path.name not in _SYSTEM_FILES
        and path.relative_to(target).as_posix()
        not in (folders if path.is_dir() and not path.is_symlink() else ours)
    ]


def _written_before(target: Path) -> set[str]:
    """Return the files that an earlier result lists as its own; none where there is no list."""
    for listing in _LISTINGS:
        with suppress(OSError, ValueError, KeyError, TypeError):
            return {str(name) for name in json.loads((target / listing).read_bytes())["files"]}
    return set()


def _swap(new: Path, target: Path, old: Path) -> None:
    """Move the new folder in place; put the old one back when that fails."""
    if not target.exists():
        new.rename(target)
        return
    target.rename(old)
    try:
        new.rename(target)
    except BaseException:
        old.rename(target)
        raise


def _missing_parents(target: Path) -> list[Path]:
    """Return the parents that do not exist yet, deepest first."""
    return [parent for parent in target.parents if not parent.exists()]


def _remove_empty(folders: list[Path]) -> None:
    for folder in folders:
        with suppress(OSError):
            folder.rmdir()


def _reason(error: Exception) -> str:
    return (error.strerror if isinstance(error, OSError) else None) or str(error)
