"""The title block along the foot of every sheet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from dewpond.base.words import words
from dewpond.outputs.drawing import lettering as letter
from dewpond.outputs.drawing.plan_sheet.job import Draft, Job
from dewpond.outputs.drawing.plan_sheet.page import Page, one_line, wrapped
from dewpond.outputs.drawing.plan_sheet.paper import MM_PER_POINT

_WIDTHS = (0.30, 0.22, 0.16, 0.14, 0.18)
"""Shares of the columns: title, people, reference, scale and sheet, grid."""
_CREDITS = 0.24
"""Share of the height for data credits."""
_INSET_MM = 1.5
_CAPTION_PT, _VALUE_PT, _TITLE_PT, _SMALL_PT, _TWO_LINES_PT = 4.8, 7.0, 11.0, 5.0, 5.8


@dataclass(frozen=True)
class _Cell:
    caption: str
    value: str
    size_pt: float = _VALUE_PT
    weight: str = "normal"


def draw_title_block(page: Page, job: Job, draft: Draft, number: int, count: int) -> None:
    """Write the title block: what and whose it is, its scale, its place in the set, its grid.

    Parameters
    ----------
    page : Page
    job : Job
    draft : Draft
    number, count : int
        Which sheet this is, of how many.
    """
    left, foot, right, top = page.paper.block_mm
    page.box((left, foot, right, top), 0.9)
    middle = foot + _CREDITS * (top - foot)
    page.lines([[(left, middle), (right, middle)]])
    x = left
    for share, cells in zip(_WIDTHS, _columns(job, draft, number, count), strict=True):
        width = share * (right - left)
        if x > left:
            page.lines([[(x, middle), (x, top)]])
        _write_column(page, cells, (x, middle, x + width, top))
        x += width
    _write_credits(page, job, (left, foot, right, middle))


def _columns(job: Job, draft: Draft, number: int, count: int) -> Sequence[Sequence[_Cell]]:
    settings = job.plan.project.documents
    terrain = job.plan.project.terrain
    crs = job.plan.holding.crs
    code = ":".join(crs.to_authority() or ())
    heights = one_line(terrain.height_datum or words("plan_sheet.not_stated"))
    sheet = words("plan_sheet.sheet_of", number=number, count=count)
    return (
        (
            _Cell(_caption("title"), one_line(job.plan.holding.name, 80), _TITLE_PT, "bold"),
            _Cell(_caption("drawing"), draft.title, _VALUE_PT, "bold"),
        ),
        (
            _Cell(_caption("prepared_for"), one_line(settings.prepared_for)),
            _Cell(_caption("prepared_by"), one_line(settings.prepared_by)),
        ),
        (
            _Cell(_caption("reference"), one_line(settings.reference)),
            _Cell(
                _caption("revision_date"),
                words(
                    "plan_sheet.revision_date",
                    revision=one_line(settings.revision, 12),
                    date=job.date,
                ),
            ),
        ),
        (
            _Cell(
                _caption("scale"),
                words("plan_sheet.scale_at", scale=draft.scale, paper=job.paper.name),
            ),
            _Cell(_caption("sheet"), sheet, _VALUE_PT, "bold"),
        ),
        (
            _Cell(_caption("grid"), words("plan_sheet.grid", name=crs.name, code=code), 6.0),
            _Cell(_caption("heights"), heights, 6.0),
        ),
    )


def _caption(name: str) -> str:
    return words(f"plan_sheet.caption.{name}")


def _write_column(
    page: Page, cells: Sequence[_Cell], frame: tuple[float, float, float, float]
) -> None:
    left, foot, right, top = frame
    large, height = page.paper.enlarged, (top - foot) / len(cells)
    room = right - left - 2 * _INSET_MM * large
    for i, cell in enumerate(cells):
        ceiling = top - i * height
        if i:
            page.lines([[(left, ceiling), (right, ceiling)]], 0.25)
        x = left + _INSET_MM * large
        page.text(
            x, ceiling - 0.8 * large, cell.caption, _CAPTION_PT * large, room_mm=room,
            va="top", color=letter.MUTED,
        )  # fmt: skip
        _write_value(page, cell, (x, ceiling - height, room))


def _write_value(page: Page, cell: _Cell, place: tuple[float, float, float]) -> None:
    """Write a value at the foot of its cell: on one line, else smaller on two, else shortened."""
    x, foot, room = place
    large = page.paper.enlarged
    size = cell.size_pt * large
    lines = [cell.value]
    if letter.text_size_pt(cell.value, size, cell.weight)[0] * MM_PER_POINT > room:
        smaller = min(size, _TWO_LINES_PT * large)
        lines = wrapped(cell.value, smaller, room * (0.88 if cell.weight == "bold" else 1.0))
        size = smaller if len(lines) == 2 else size
        lines = lines if len(lines) == 2 else [cell.value]
    pitch = size * letter.LINE_SPACING * MM_PER_POINT
    y = foot + (2.0 if len(lines) == 1 else 1.3) * large
    for i, line in enumerate(reversed(lines)):
        page.text(x, y + i * pitch, line, size, room_mm=room, weight=cell.weight)


def _write_credits(page: Page, job: Job, frame: tuple[float, float, float, float]) -> None:
    """Write the data credits, in smaller letters the longer they are."""
    left, foot, right, top = frame
    large = page.paper.enlarged
    credits = "; ".join(one_line(credit, 400) for credit in job.plan.holding.credits)
    text = words("plan_sheet.credits", credits=credits)
    room = right - left - 2 * _INSET_MM * large
    size = _SMALL_PT * large
    while True:
        lines = wrapped(text, size, room)
        pitch = letter.LINE_SPACING * size * MM_PER_POINT
        if len(lines) * pitch <= top - foot - 0.8 or size <= 3.0 * large:
            break
        size -= 0.25
    kept = max(int((top - foot - 0.8) / pitch), 1)
    if len(lines) > kept:
        lines = [*lines[: kept - 1], lines[kept - 1].rstrip() + "…"]
    middle = (foot + top) / 2 + (len(lines) - 1) * pitch / 2
    for i, line in enumerate(lines):
        page.text(
            left + _INSET_MM * large, middle - i * pitch, line, size, room_mm=room,
            va="center", color=letter.MUTED,
        )  # fmt: skip
