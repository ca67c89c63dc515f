"""Which members of a virtual raster a window of it comes from."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

from rasterio.windows import Window


def members_beside(dataset: Any, window: Window) -> set[Path]:
    """Return the members of a virtual raster that a window takes no height from.

    A national mosaic has thousands of tiles, and a holding lies on one to four of them. A member
    whose place in the mosaic the file does not say counts as touched.

    Parameters
    ----------
    dataset : rasterio.DatasetReader
        Of any format; one that is no virtual raster has no members.
    window : Window
        In cells of the dataset.

    References
    ----------
    GDAL documentation, "VRT -- GDAL Virtual Format": ``DstRect`` gives the place of a source in
    cells of the virtual raster.
    """
    path = Path(dataset.name)
    if dataset.driver != "VRT" or not path.is_file():
        return set()
    touched: set[Path] = set()
    beside: set[Path] = set()
    for member, place in _members(path):
        (touched if _meet(place, window) else beside).add(member)
    return beside - touched


def _members(path: Path) -> Iterator[tuple[Path, ElementTree.Element | None]]:
    """Give each member and its place in the virtual raster; none of a file that is not XML."""
    with suppress(ElementTree.ParseError, OSError):
        for source in ElementTree.parse(path).iter():
            name = source.find("SourceFilename")
            if name is not None:
                inside = name.get("relativeToVRT") == "1"
                written = Path(name.text or "")
                yield (path.parent / written if inside else written), source.find("DstRect")


def _meet(place: ElementTree.Element | None, window: Window) -> bool:
    try:
        left, top, width, height = (
            float((place.attrib if place is not None else {})[key])
            for key in ("xOff", "yOff", "xSize", "ySize")
        )
    except (KeyError, ValueError):
        return True
    across = left < window.col_off + window.width and window.col_off < left + width
    down = top < window.row_off + window.height and window.row_off < top + height
    return bool(across and down)
