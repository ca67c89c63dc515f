"""What whoever sets out a point should know of it, in a few words."""

from __future__ import annotations

import pandas as pd

from dewpond.base.measures import Measures
from dewpond.base.words import words


def note_of(kind: str, row: pd.Series, measures: Measures) -> str:
    """Return the note of a feature of the plan.

    Parameters
    ----------
    kind : str
        Kind of the feature, as the layers are named.
    row : Series
        The feature with the columns of its kind.
    measures : Measures
    """
    if kind == "outlet":
        return _outlet(row)
    if kind == "source":
        which = "source_used" if row["feeds_scheme"] else "source_other"
        return words(f"site.notes.{which}", kind=str(row["source_kind"]).replace("_", " "))
    if kind == "tank":
        return words("site.notes.tank", volume=measures.text("volume", row["volume_l"]))
    if kind == "pump":
        return words(
            "site.notes.pump",
            flow=measures.text("flow", row["flow_l_min"]),
            head=measures.text("head", row["head_m"]),
        )
    parts = [str(row["reason"])] if row.get("reason") else []
    if kind in ("break_tank", "reducing_valve"):
        level = measures.text("level", row["level_after_m"], 1)
        parts.append(words("site.notes.break_level", level=level))
    return "; ".join(parts)


def _outlet(row: pd.Series) -> str:
    parts = []
    # On a fence the note of the outlet itself names the paddocks.
    if len(row["serves"]) == 1:
        parts.append(words("site.notes.outlet_serves", paddock=row["serves"][0]))
    if row["trough"]:
        parts.append(words("site.notes.outlet_trough", trough=row["trough"]))
    parts.append(str(row["notes"] or ""))
    return "; ".join(part for part in parts if part)
