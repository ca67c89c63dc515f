"""Tables that flow on: down a column of the page, to the next column, to the next sheet."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from dewpond.base.surface import FloatArray
from dewpond.base.words import words
from dewpond.outputs.drawing import lettering as letter
from dewpond.outputs.drawing.plan_sheet.page import Page, wrapped
from dewpond.outputs.drawing.plan_sheet.paper import MM_PER_POINT, Paper

_LEAST_WIDTH_MM, _BETWEEN_MM = 250.0, 8.0
"""A page is divided into as many columns as have this width."""
_BODY_PT, _HEAD_PT, _TITLE_PT = 6.0, 5.6, 9.0
_PAD_MM, _MOST_SPARE_MM = 1.2, 6.0
_TITLE_MM, _AFTER_MM = 6.5, 6.0
_SHADE = "#f1f3f5"


@dataclass(frozen=True)
class Column:
    """A column: its heading, whether its cells may be broken into lines, whether it is figures."""

    heading: str
    breaks: bool = False
    figures: bool = False


@dataclass(frozen=True)
class Table:
    """A table of text; ``notes`` stand beneath it."""

    title: str
    columns: Sequence[Column]
    rows: Sequence[Sequence[str]]
    notes: Sequence[str] = field(default=())


@dataclass(frozen=True)
class _Line:
    """Something of one height in a column: a heading, a row, a note."""

    height_mm: float
    kind: str
    table: int
    cells: tuple[tuple[str, ...], ...]
    odd: bool = False


@dataclass(frozen=True)
class _Placed:
    left_mm: float
    top_mm: float
    line: _Line


@dataclass(frozen=True, eq=False)
class TablePage:
    """What stands on one page, ready to be drawn by `draw`."""

    placed: tuple[_Placed, ...]
    tables: Sequence[Table]
    widths_mm: Sequence[FloatArray]
    enlarged: float

    def draw(self, page: Page) -> None:
        """Draw the page's part of the tables."""
        for item in self.placed:
            _draw_line(page, item, self.tables[item.line.table],
                       self.widths_mm[item.line.table], self.enlarged)  # fmt: skip


def flow(paper: Paper, tables: Sequence[Table]) -> list[TablePage]:
    """Return the pages that some tables take, one after the other.

    A row is never parted; the heading is written again, with "continued", wherever a table goes
    on.

    Parameters
    ----------
    paper : Paper
    tables : sequence of Table
        Those without rows are left out.
    """
    tables = [_without_empty_columns(table) for table in tables if table.rows]
    large = paper.enlarged
    left, foot, right, top = paper.body_mm
    count = max(int((right - left + _BETWEEN_MM) // (_LEAST_WIDTH_MM + _BETWEEN_MM)), 1)
    width = (right - left - (count - 1) * _BETWEEN_MM) / count
    widths = [_widths_mm(table, width, large) for table in tables]
    pages: list[list[_Placed]] = []
    y, column = foot, count - 1  # full: the first line opens a page
    for number, table in enumerate(tables):
        heading = [
            _title(table, number, large, False),
            _head(table, number, widths[number], large),
        ]
        again = [_title(table, number, large, True), heading[1]]
        lines = list(_body(table, number, widths[number], width, large))
        waiting = heading
        for i, line in enumerate(lines):
            needed = sum(part.height_mm for part in (*waiting, line))
            if i == 0 and len(lines) > 1:
                needed += lines[1].height_mm
            if y - needed < foot:
                column = (column + 1) % count
                y = top
                if column == 0:
                    pages.append([])
                if not waiting and line.kind == "row":
                    waiting = again
            for part in (*waiting, line):
                pages[-1].append(_Placed(left + column * (width + _BETWEEN_MM), y, part))
                y -= part.height_mm
            waiting = []
        y -= _AFTER_MM * large
    return [TablePage(tuple(placed), tables, widths, large) for placed in pages]


def _widths_mm(table: Table, room_mm: float, large: float) -> FloatArray:
    """Return widths of columns: what figures need, the rest shared by those that may break."""
    natural, least = [], []
    for i, column in enumerate(table.columns):
        words_ = [_mm(word, _HEAD_PT * large, "bold") for word in column.heading.split()]
        cells = [_mm(row[i], _BODY_PT * large) for row in table.rows]
        least.append(max([*words_, 8.0 * large]) + 2 * _PAD_MM)
        natural.append(max([least[-1], *(cell + 2 * _PAD_MM for cell in cells)]))
    widths, floor = np.array(natural), np.array(least)
    bends = np.array([column.breaks for column in table.columns], dtype=bool)
    spare = room_mm - widths[~bends].sum()
    if widths.sum() <= room_mm:
        widths += min((room_mm - widths.sum()) / len(widths), _MOST_SPARE_MM * large)
    elif bends.any() and spare > 0:
        widths[bends] = _shared(widths[bends], floor[bends], spare)
    # A heading of one long word can leave too little: then all columns shrink alike.
    return np.asarray(widths * min(room_mm / widths.sum(), 1.0), dtype=float)


def _shared(wanted: FloatArray, least: FloatArray, room: float) -> FloatArray:
    """Share a width among columns: those that want less than an even share get what they want."""
    widths = np.zeros(len(wanted))
    waiting = np.argsort(wanted, kind="stable").tolist()
    while waiting:
        even = room / len(waiting)
        column = waiting.pop(0)
        widths[column] = max(min(wanted[column], even), least[column])
        room -= widths[column]
    return widths


def _without_empty_columns(table: Table) -> Table:
    """Leave out columns in which nothing is said of any row."""
    kept = [i for i in range(len(table.columns)) if any(row[i] for row in table.rows)]
    rows = [[row[i] for i in kept] for row in table.rows]
    return replace(table, columns=[table.columns[i] for i in kept], rows=rows)


def _mm(text: str, size_pt: float, weight: str = "normal") -> float:
    return letter.text_size_pt(text, size_pt, weight)[0] * MM_PER_POINT if text else 0.0


def _pitch_mm(size_pt: float) -> float:
    return size_pt * letter.LINE_SPACING * MM_PER_POINT


def _title(table: Table, number: int, large: float, again: bool) -> _Line:
    key = "plan_sheet.continued" if again else "plan_sheet.table_title"
    return _Line(_TITLE_MM * large, "title", number, ((words(key, title=table.title),),))


def _head(table: Table, number: int, widths: FloatArray, large: float) -> _Line:
    cells = tuple(
        tuple(_bold_wrapped(column.heading, width - 2 * _PAD_MM, large))
        for column, width in zip(table.columns, widths, strict=True)
    )
    height = max(len(cell) for cell in cells) * _pitch_mm(_HEAD_PT * large) + 2 * _PAD_MM
    return _Line(height, "head", number, cells)


def _bold_wrapped(text: str, room_mm: float, large: float) -> list[str]:
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and _mm(longer, _HEAD_PT * large, "bold") <= room_mm:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def _body(
    table: Table, number: int, widths: FloatArray, width: float, large: float
) -> Iterator[_Line]:
    size = _BODY_PT * large
    for i, row in enumerate(table.rows):
        cells = tuple(
            tuple(wrapped(cell, size, room - 2 * _PAD_MM)) if column.breaks else (cell,)
            for cell, column, room in zip(row, table.columns, widths, strict=True)
        )
        lines = max(len(cell) for cell in cells)
        yield _Line(lines * _pitch_mm(size) + 2 * _PAD_MM, "row", number, cells, i % 2 == 1)
    for note in table.notes:
        lines_ = tuple(wrapped(note, size, width - 2 * _PAD_MM))
        yield _Line(len(lines_) * _pitch_mm(size) + _PAD_MM, "note", number, (lines_,))


def _draw_line(page: Page, item: _Placed, table: Table, widths: FloatArray, large: float) -> None:
    line, left, top = item.line, item.left_mm, item.top_mm
    foot, right = top - line.height_mm, left + float(widths.sum())
    if line.kind == "title":
        page.text(left, foot + 2.0 * large, line.cells[0][0], _TITLE_PT * large, weight="bold",
                  room_mm=right - left)  # fmt: skip
        return
    if line.kind == "note":
        _write_cell(page, line.cells[0], left + _PAD_MM, top - _PAD_MM, _BODY_PT * large, "left")
        return
    if line.kind == "head" or line.odd:
        shade = letter.FAINT if line.kind == "head" else _SHADE
        page.box((left, foot, right, top), 0, facecolor=shade, edgecolor="none", zorder=1)
    rules = [[(left, foot), (right, foot)]]
    if line.kind == "head":
        rules.append([(left, top), (right, top)])
    page.lines(rules, 0.5 if line.kind == "head" else 0.25,
               colors=letter.INK if line.kind == "head" else letter.FAINT)  # fmt: skip
    size = (_HEAD_PT if line.kind == "head" else _BODY_PT) * large
    x = left
    for cell, column, width in zip(line.cells, table.columns, widths, strict=True):
        at = x + width - _PAD_MM if column.figures else x + _PAD_MM
        _write_cell(page, cell, at, top - _PAD_MM, size, "right" if column.figures else "left",
                    weight="bold" if line.kind == "head" else "normal",
                    room_mm=width - 2 * _PAD_MM + 0.3)  # fmt: skip
        x += width


def _write_cell(
    page: Page,
    lines: Sequence[str],
    x: float,
    top: float,
    size_pt: float,
    side: str,
    *,
    weight: str = "normal",
    room_mm: float | None = None,
) -> None:
    pitch = _pitch_mm(size_pt)
    for i, text in enumerate(lines):
        page.text(x, top - (i + 0.78) * pitch, text, size_pt, ha=side, weight=weight,
                  room_mm=room_mm)  # fmt: skip
