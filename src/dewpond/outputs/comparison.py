"""A comparison as a table for a spreadsheet and as JSON for a program."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from dataclasses import asdict

from dewpond.base.model import Change, Comparison, Outcome
from dewpond.base.strict_json import json_text

# Totals by their names, with the decimals written: whole pounds and metres are what can be built.
_FIGURES = {
    "cost": 2,
    "outlets": 0,
    "pipe_m": 2,
    "worst_walk_m": 2,
    "mean_walk_m": 2,
    "covered_share": 4,
    "daily_demand_l": 1,
}


def comparison_csv(comparison: Comparison) -> str:
    """Return one row for each setting: figures, what is otherwise, what falls short and why.

    Figures of a setting that could not be planned are empty; lists are joined by semicolons.
    """
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow([
        "number", "name", "changes", "source", *_FIGURES, "currency", "cost_against_first",
        "gap", "planned", "met", "shortfalls", "failure",
    ])  # fmt: skip
    first = comparison.outcomes[0]
    for number, outcome in enumerate(comparison.outcomes, start=1):
        writer.writerow([
            number,
            _plain_cell(outcome.name),
            _plain_cell("; ".join(said(change) for change in outcome.changes)),
            _plain_cell(outcome.source),
            *(_written(outcome.totals.get(key), decimals) for key, decimals in _FIGURES.items()),
            comparison.currency,
            _written(cost_against(outcome, first), _FIGURES["cost"]),
            _written(outcome.gap, 4),
            _yes(outcome.planned),
            _yes(outcome.met),
            _plain_cell("; ".join(outcome.shortfalls)),
            _plain_cell(outcome.failure.replace("\n", "; ")),
        ])  # fmt: skip
    return text.getvalue()


def comparison_json(comparison: Comparison, files: Sequence[str]) -> str:
    """Return the whole comparison; a figure that is not known is null.

    Parameters
    ----------
    comparison : Comparison
    files : sequence of str
        Paths of all files of the result; they tell a later run which files it may replace.
    """
    first = comparison.outcomes[0]
    record = {
        "holding": comparison.holding,
        "currency": comparison.currency,
        "met": comparison.met,
        "outcomes": [
            {
                **asdict(outcome),
                "planned": outcome.planned,
                "met": outcome.met,
                "cost_against_first": cost_against(outcome, first),
            }
            for outcome in comparison.outcomes
        ],
        "versions": dict(comparison.versions),
        "files": list(files),
    }
    return json_text(record)


def said(change: Change) -> str:
    """Return a change in words."""
    instead = f" instead of {change.instead_of}" if change.instead_of else ""
    return f"{change.setting} = {change.value}{instead}"


def cost_against(outcome: Outcome, first: Outcome) -> float | None:
    """Return what a setting costs more than the first; None where either was not planned."""
    if not (outcome.planned and first.planned):
        return None
    return outcome.totals["cost"] - first.totals["cost"]


def _written(value: float | None, decimals: int) -> str:
    if value is None or not math.isfinite(value):
        return ""
    return f"{value:.{decimals}f}"


def _yes(value: bool) -> str:
    return "yes" if value else "no"


def _plain_cell(text: str) -> str:
    """Keep a spreadsheet from taking text from the project file for a formula."""
    return f"'{text}" if text.startswith(("=", "+", "-", "@", "\t", "\r")) else text
