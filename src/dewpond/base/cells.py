"""Text from data files in tables for spreadsheets: never a formula, always one line."""

from __future__ import annotations

_STARTS_FORMULA = ("=", "+", "-", "@", "\t", "\r", "＝", "＋", "－", "＠")
"""After the OWASP page on CSV injection, full-width forms included (from memory)."""


def one_line(text: str) -> str:
    r"""Return text on one line that XML 1.0 and a table can hold.

    Control characters, line breaks, runs of blanks and the code points that XML 1.0 (section 2.2)
    does not allow become one blank.

    >>> one_line("Top\x07\n Field ")
    'Top Field'
    """
    return " ".join("".join(letter if _allowed(letter) else " " for letter in text).split())


def harmless_cell(text: str) -> str:
    r"""Return text on one line that no spreadsheet takes for a formula.

    What starts with a sign that starts formulas (``= + - @`` and their full-width forms) gets an
    apostrophe before it, which spreadsheets show as text.

    >>> harmless_cell("=1+1")
    "'=1+1"
    >>> harmless_cell("Top Field")
    'Top Field'
    """
    line = one_line(text)
    return f"'{line}" if line.startswith(_STARTS_FORMULA) else line


def _allowed(letter: str) -> bool:
    point = ord(letter)
    return (
        0x20 <= point <= 0x7E
        or 0xA0 <= point <= 0xD7FF
        or 0xE000 <= point <= 0xFFFD
        or 0x10000 <= point <= 0x10FFFF
    )
