"""One sheet of the workbook: text that stays text, figures, formulas, widths, printing."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from openpyxl import Workbook
from openpyxl.cell import Cell
from openpyxl.styles import Alignment, Border, Font, NamedStyle, PatternFill, Side
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.worksheet import Worksheet

from dewpond.base.cells import harmless_cell, one_line
from dewpond.base.words import words

_INK, _BLUE, _SHADE, _BAND = "FF1F2A30", "FF00458B", "FFDDE3E0", "FFF1F4F2"
_THIN = Side(style="thin", color="FF8A9690")
_TOP, _WRAP = Alignment(vertical="top"), Alignment(vertical="top", wrap_text=True)
# A little space before text, which often follows a figure set to the right.
_APART = Alignment(horizontal="left", vertical="top", indent=1)
_APART_WRAP = Alignment(horizontal="left", vertical="top", indent=1, wrap_text=True)
_RIGHT = Alignment(horizontal="right", vertical="top", wrap_text=True)
_LINE_POINTS = 13.0
"""Height of one line of text of 10 points."""
_LETTERS = 1.05
"""Letters of that text to a unit of column width, the width of a zero of 11 points."""


def add_styles(book: Workbook) -> None:
    """Add the named styles that every sheet uses."""
    plain, bold, blue = (
        Font(name="Arial", size=10, bold=thick, color=color)
        for thick, color in ((False, _INK), (True, _INK), (False, _BLUE))
    )
    above, below = Border(top=_THIN), Border(bottom=_THIN)
    shade, band = (PatternFill("solid", fgColor=color) for color in (_SHADE, _BAND))
    money, quantity = "#,##0.00", "#,##0.0"
    for style in (
        NamedStyle("Title of sheet", font=Font(name="Arial", size=14, bold=True, color=_INK)),
        NamedStyle("Note", font=plain, alignment=_WRAP),
        NamedStyle("Warning", font=bold, alignment=_WRAP),
        NamedStyle("Column head", font=bold, fill=shade, border=below, alignment=_APART_WRAP),
        NamedStyle("Column head right", font=bold, fill=shade, border=below, alignment=_RIGHT),
        NamedStyle("Heading of work", font=bold, fill=band, alignment=_APART),
        NamedStyle("Text", font=plain, alignment=_APART_WRAP),
        NamedStyle("Number of row", font=plain, alignment=_APART, number_format="0"),
        NamedStyle("Count", font=plain, alignment=_TOP, number_format="#,##0"),
        NamedStyle("Quantity", font=plain, alignment=_TOP, number_format=quantity),
        NamedStyle("Factor", font=plain, alignment=_TOP, number_format="0.0000"),
        NamedStyle("Share", font=plain, alignment=_TOP, number_format="0.0 %"),
        NamedStyle("Share to change", font=blue, alignment=_TOP, number_format="0.0 %"),
        NamedStyle("Money", font=plain, alignment=_TOP, number_format=money),
        NamedStyle("Rate to change", font=blue, alignment=_TOP, number_format="#,##0.00##"),
        NamedStyle("Sum label", font=bold, border=above, alignment=_APART),
        NamedStyle("Sum", font=bold, border=above, alignment=_TOP, number_format=money),
    ):  # fmt: skip
        book.add_named_style(style)


class Page:
    """A sheet with its cells written by kind, so that no name can become a formula."""

    def __init__(self, book: Workbook, name: str, widths: Sequence[float]) -> None:
        self.sheet: Worksheet = book.create_sheet(name)
        self.widths = list(widths)
        for number, width in enumerate(widths, start=1):
            self.sheet.column_dimensions[get_column_letter(number)].width = width

    @property
    def name(self) -> str:
        """Name of the sheet as formulas of other sheets write it."""
        return f"'{self.sheet.title}'"

    def text(self, row: int, column: int, value: str, style: str = "Text") -> None:
        """Write text; one that starts like a formula is kept text when the cell is edited too."""
        cell = self._cell(row, column, style)
        line = one_line(value)
        if line:
            cell.value = line
            cell.data_type = "s"  # the library takes what starts with "=" for a formula
        if harmless_cell(line) != line:
            cell.quotePrefix = True
        if style in ("Text", "Column head", "Column head right"):
            self._make_room(row, column, line)

    def number(self, row: int, column: int, value: float, style: str = "Money") -> None:
        """Write a figure, nothing where it is not known."""
        cell = self._cell(row, column, style)
        if math.isfinite(value):
            cell.value = value

    def formula(self, row: int, column: int, value: str, style: str = "Money") -> None:
        """Write a formula, without its sign of equality."""
        self._cell(row, column, style).value = f"={value}"

    def head(self, row: int, labels: Sequence[str], right: Sequence[int] = ()) -> None:
        """Write the heads of columns, figures to the right."""
        for column, label in enumerate(labels, start=1):
            style = "Column head right" if column in right else "Column head"
            self.text(row, column, label, style)

    def across(self, row: int, value: str, style: str = "Note") -> None:
        """Write text over all columns of the sheet, as high as it takes."""
        self.text(row, 1, value, style)
        self.sheet.merge_cells(
            start_row=row, end_row=row, start_column=1, end_column=len(self.widths)
        )
        if style in ("Note", "Warning"):
            lines = math.ceil(len(value) / (_LETTERS * sum(self.widths)))
            self.sheet.row_dimensions[row].height = lines * _LINE_POINTS + 2.0

    def hide(self, letter: str) -> None:
        """Hide a column that holds nothing; formulas keep their places."""
        self.sheet.column_dimensions[letter].hidden = True

    def print_on_a4(self, *, head_row: int | None = None, frozen: str | None = None) -> None:
        """Set up printing: A4 across, as wide as the paper, heads repeated, pages numbered."""
        sheet = self.sheet
        sheet.page_setup.orientation = "landscape"
        sheet.page_setup.paperSize = sheet.PAPERSIZE_A4
        sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = 1, 0
        sheet.sheet_properties.pageSetUpPr.fitToPage = True
        sheet.print_options.gridLines = False
        sheet.sheet_view.showGridLines = False
        for side in ("left", "right", "top", "bottom"):
            setattr(sheet.page_margins, side, 0.5)
        sheet.oddFooter.center.text = words("schedule.page")
        sheet.oddFooter.left.text = sheet.title
        if head_row is not None:
            sheet.print_title_rows = f"{head_row}:{head_row}"
        if frozen is not None:
            sheet.freeze_panes = frozen

    def _cell(self, row: int, column: int, style: str) -> Cell:
        cell = self.sheet.cell(row, column)
        cell.style = style
        return cell

    def _make_room(self, row: int, column: int, line: str) -> None:
        """Make the row high enough: not every program does it when the file is opened."""
        lines = math.ceil(len(line) / (_LETTERS * self.widths[column - 1] - 2.0)) if line else 1
        height = self.sheet.row_dimensions[row].height or 0.0
        self.sheet.row_dimensions[row].height = max(height, lines * _LINE_POINTS + 2.0)


def column_words(*names: str) -> list[str]:
    """Return the heads of columns by their keys."""
    return [words(f"schedule.columns.{name}") for name in names]


def labels_of(kind: str, names: Sequence[str]) -> Mapping[str, str]:
    """Return the labels of a kind of row by their keys."""
    return {name: words(f"schedule.{kind}.{name}") for name in names}
