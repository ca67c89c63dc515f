"""The move list as a table for a spreadsheet."""

from __future__ import annotations

import numpy as np

from dewpond.base.model import Breaks

# Decimals written: square metre, a tenth of a day, decimetre of hose, walk and fence.
_DECIMALS = {"area_ha": 4, "days": 1, "hose_m": 1, "walk_m": 1, "fence_m": 1}
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def breaks_csv(breaks: Breaks) -> str:
    """Return one row for each move; a walk that is not known is empty, yes and no are words.

    Names that a spreadsheet would take for a formula start with an apostrophe.
    """
    table = breaks.moves.copy()
    for column, decimals in _DECIMALS.items():
        table[column] = [
            f"{value:.{decimals}f}" if np.isfinite(value) else ""
            for value in table[column].astype(float)
        ]
    for column in ("trough_moves", "watered"):
        table[column] = ["yes" if value else "no" for value in table[column]]
    for column in ("mob", "paddock", "break", "outlet", "note"):
        table[column] = [
            f"'{text}" if str(text).startswith(_FORMULA) else str(text) for text in table[column]
        ]
    return str(table.to_csv(index=False, lineterminator="\n"))
