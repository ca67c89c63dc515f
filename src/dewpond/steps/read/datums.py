"""Height datums stated by rasters, project file and sources, compared by name."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import pyproj
from pyproj.exceptions import CRSError

from dewpond.base.settings import SourceSettings, TerrainSettings
from dewpond.base.words import words
from dewpond.steps.read.notes import Notes
from dewpond.steps.read.rasters import Raster

_NOT_TELLING = {
    "height",
    "heights",
    "datum",
    "vertical",
    "depth",
    "m",
    "ft",
    "ftus",
    "above",
    "the",
}
_MEANING = {
    "aod": "ordnance datum newlyn",
    "odn": "ordnance datum newlyn",
    "od": "ordnance datum",
    "ahd": "australian",
    "navd88": "north american 1988",
    "navd": "north american",
    "nap": "normaal amsterdams peil",
    "wgs84": "wgs 84",
    "ellipsoidal": "ellipsoid",
}


@dataclass(frozen=True)
class _Statement:
    """Who states a datum, in which words, and the sets of telling words it goes by."""

    where: str
    words: str
    names: tuple[frozenset[str], ...]


def compare_datums(
    rasters: Sequence[Raster],
    terrain: TerrainSettings,
    sources: Sequence[SourceSettings],
    notes: Notes,
) -> None:
    """Add a fault for each stated height datum that differs from the first one stated.

    The datum of the project file comes first, then that of the rasters in order, then that of
    each source with a level, then that of the levels taken on site. Two agree when all telling
    words of one name occur in a name of the other: "Newlyn" agrees with "Ordnance Datum Newlyn",
    "EGM96" not with "EGM2008".
    """
    heights = [_of_crs(raster.label, raster.vertical) for raster in rasters if raster.vertical]
    if terrain.height_datum:
        heights.insert(0, _of_words("[terrain], height_datum", terrain.height_datum))
    levels = [
        _of_words(
            words("data.datums.source_level_datum", number=number, name=source.name),
            source.level_datum,
        )
        for number, source in enumerate(sources, start=1)
        if source.level_datum and source.level_m is not None
    ]
    if terrain.levels is not None and terrain.levels_datum:
        levels.append(_of_words("[terrain], levels_datum", terrain.levels_datum))
    if not heights:
        notes.warnings.extend(
            words("data.datums.datum_not_stated", where=level.where, words=level.words)
            for level in levels
        )
        return
    first = heights[0]
    for other in (*heights[1:], *levels):
        if not _agree(first, other):
            notes.fault(
                other.where,
                "states a height datum that differs from that of the elevation",
                found=f'"{other.words}"',
                expected=f'"{first.words}", as stated by {first.where}',
                remedy="bring all heights to one datum; where both names mean the same, write "
                "the same name",
            )


def _agree(one: _Statement, other: _Statement) -> bool:
    return any(a <= b or b <= a for a in one.names for b in other.names)


def _of_words(where: str, words: str) -> _Statement:
    # PROJ would also search by name, and a loose match must not speak for the user.
    if not re.fullmatch(r"\s*[A-Za-z]+:\d+\s*", words):
        return _Statement(where, words, _telling(words))
    try:
        crs = pyproj.CRS.from_user_input(words)
    except CRSError:
        return _Statement(where, words, _telling(words))
    if crs.is_vertical or len(crs.axis_info) == 3:
        return _Statement(where, words, _of_crs(where, crs).names)
    return _Statement(where, words, _telling(words))


def _of_crs(where: str, crs: pyproj.CRS) -> _Statement:
    texts = [crs.name] + ([crs.datum.name] if crs.datum is not None else [])
    if not crs.is_vertical:
        texts = [f"{text} ellipsoid" for text in texts]
    return _Statement(where, crs.name, tuple(name for text in texts for name in _telling(text)))


def _telling(text: str) -> tuple[frozenset[str], ...]:
    words = [word for word in re.findall(r"[a-z0-9]+", text.lower()) if word not in _NOT_TELLING]
    spelled = " ".join(_MEANING.get(word, word) for word in words).split()
    names = (frozenset(words), frozenset(spelled))
    return tuple(name for name in dict.fromkeys(names) if name)
