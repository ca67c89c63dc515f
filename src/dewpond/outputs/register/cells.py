"""Values as they stand in a spreadsheet's text file."""

from __future__ import annotations

from typing import Any

_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def plain_cell(value: Any) -> Any:
    """Return a value for a cell: nothing for None, yes or no, and no text that starts a formula.

    >>> plain_cell(None), plain_cell(True), plain_cell("=1+1"), plain_cell(2.5)
    ('', 'yes', "'=1+1", 2.5)
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        text = value.replace("\r", " ").replace("\n", "; ")
        return f"'{text}" if text.startswith(_FORMULA) else text
    return value
