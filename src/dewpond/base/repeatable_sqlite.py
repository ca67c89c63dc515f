"""A GeoPackage without what differs from one writing to the next."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

_FIXED_TIME = "2000-01-01T00:00:00.000Z"
_CHANGE_COUNTER, _VALID_FOR = 24, 92
"""Places in the header, 4 bytes each (SQLite, Database File Format, 1.3.7 and 1.3.12, from
memory): how often the file was changed, and for which of these counts the header holds."""
_FIXED_COUNT = (1).to_bytes(4, "big")


def settle_geopackage(path: Path) -> None:
    """Give a finished GeoPackage a fixed time of last change and a fixed count of changes.

    The count depends on the clock: a time of last change that is set twice within a millisecond
    is one change, not two.

    Raises
    ------
    OSError, sqlite3.Error
        When the file cannot be written.
    """
    with closing(sqlite3.connect(path)) as database, database:
        database.execute("UPDATE gpkg_contents SET last_change = ?", (_FIXED_TIME,))
    with path.open("r+b") as file:
        for place in (_CHANGE_COUNTER, _VALID_FOR):
            file.seek(place)
            file.write(_FIXED_COUNT)
