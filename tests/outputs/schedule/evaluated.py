"""A workbook worked out by a library that evaluates formulas, knowing nothing of ours."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import formulas
from openpyxl import load_workbook


class Evaluated:
    """Cells of a workbook by sheet and place, formulas worked out."""

    def __init__(self, path: Path) -> None:
        solution = formulas.ExcelModel().loads(str(path)).finish().calculate()
        self.values: dict[tuple[str, str], Any] = {}
        for name, found in solution.items():
            place = str(name).rpartition("]")[2]
            sheet, _, cell = place.rpartition("'!")
            if ":" not in cell and hasattr(found, "value"):
                self.values[sheet, cell] = found.value[0, 0]
        self.written = load_workbook(path)

    def __call__(self, sheet: str, cell: str) -> Any:
        return self.values[sheet.upper(), cell]

    def column(self, sheet: str, letter: str, first: int, last: int) -> list[Any]:
        """Return the values of a column from a row to a row."""
        return [self(sheet, f"{letter}{row}") for row in range(first, last + 1)]

    def row_of(self, sheet: str, text: str, letter: str = "A") -> int:
        """Return the row that holds a text."""
        for cell in self.written[sheet][letter]:
            if cell.value == text:
                return int(cell.row)
        raise KeyError(text)
