"""What is drawn on a page of a PDF, read back from its drawing operators."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
from pypdf import PageObject, PdfReader
from pypdf.generic import ContentStream

POINTS_PER_MM = 72.0 / 25.4
Matrix = tuple[float, float, float, float, float, float]
_PAINTS = {b"S", b"s", b"f", b"F", b"f*", b"B", b"B*", b"b", b"b*", b"n"}


def read_pages(path: Path) -> list[PageObject]:
    return list(PdfReader(path).pages)


def texts_of(pages: Sequence[PageObject]) -> list[str]:
    return [page.extract_text() for page in pages]


def drawn_paths(page: PageObject) -> list[tuple[np.ndarray, dict[str, object]]]:
    """Every painted path of straight pieces, in points of the page, with its operators' state.

    PDF 32000-1:2008, 8.5.2 (path construction) and 8.4.4 (``cm``, ``q``, ``Q``, ``w``).
    """
    found = []
    matrix, width, stack = np.eye(3), 1.0, []
    points: list[tuple[float, float]] = []
    curved = False
    for operands, operator in _operations(page):
        if operator == b"q":
            stack.append((matrix, width))
        elif operator == b"Q":
            matrix, width = stack.pop()
        elif operator == b"cm":
            matrix = _matrix(operands) @ matrix
        elif operator == b"w":
            width = float(operands[0])
        elif operator in (b"m", b"l"):
            if operator == b"m" and points:
                found.append((_placed(points, matrix), {"width": width, "curved": curved}))
                points = []
            points.append((float(operands[0]), float(operands[1])))
        elif operator in (b"c", b"v", b"y"):
            curved = True
            points.append((float(operands[-2]), float(operands[-1])))
        elif operator in _PAINTS:
            if len(points) > 1 and operator != b"n":
                found.append(
                    (
                        _placed(points, matrix),
                        {"width": width, "curved": curved, "filled": operator not in (b"S", b"s")},
                    )
                )
            points, curved = [], False
    return found


def _operations(page: PageObject) -> Iterator[tuple[list, bytes]]:
    contents = page.get_contents()
    assert contents is not None
    yield from ContentStream(contents, page.pdf).operations


def _matrix(operands: list) -> np.ndarray:
    a, b, c, d, e, f = (float(value) for value in operands)
    return np.array([[a, b, 0.0], [c, d, 0.0], [e, f, 1.0]])


def _placed(points: list[tuple[float, float]], matrix: np.ndarray) -> np.ndarray:
    return (np.column_stack([points, np.ones(len(points))]) @ matrix)[:, :2]


def same_shape(
    page: PageObject, shape_m: np.ndarray, denominator: float, tolerance_mm: float = 0.1
) -> np.ndarray | None:
    """The drawn path that has the shape of a line on the ground at a scale, None if none has."""
    wanted = shape_m / denominator * 1000 * POINTS_PER_MM
    wanted = wanted - wanted[0]
    for path, _ in drawn_paths(page):
        if len(path) == len(wanted):
            apart = np.abs(path - path[0] - wanted).max()
            if apart < tolerance_mm * POINTS_PER_MM:
                return path
    return None


def fonts_of(page: PageObject) -> dict[str, dict]:
    """Fonts of a page by name, each with its kind and whether its file is in the document."""
    found = {}
    for font in page["/Resources"].get("/Font", {}).values():
        font = font.get_object()
        inner = font["/DescendantFonts"][0].get_object() if "/DescendantFonts" in font else font
        descriptor = inner["/FontDescriptor"].get_object()
        found[str(font["/BaseFont"])] = {
            "kind": str(inner["/Subtype"]),
            "embedded": "/FontFile2" in descriptor,
            "to_unicode": "/ToUnicode" in font,
        }
    return found


def images_of(page: PageObject) -> list:
    """Pictures that are painted on a page, and any that stand in its stream itself.

    PDF 32000-1:2008, 8.8 (``Do``) and 8.9.7 (inline images).
    """
    objects = page["/Resources"].get("/XObject", {})
    found = []
    for operands, operator in _operations(page):
        if operator == b"Do" and objects[operands[0]].get_object()["/Subtype"] == "/Image":
            found.append(objects[operands[0]].get_object())
        elif operator == b"INLINE IMAGE":
            found.append(operands)
    return found
