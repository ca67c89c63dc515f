"""Lines of the schedule as documents print them: numbered, in the units of the reader."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from dewpond.base.measures import Measures
from dewpond.base.model import Costing
from dewpond.base.settings.costing import WORKS
from dewpond.base.words import words


@dataclass(frozen=True)
class Line:
    """One line, lengths in the unit of the document.

    Attributes
    ----------
    item : str
        Number of the heading and of the line under it, "2.3".
    row : int
        Row label in `Costing.items`.
    per_unit : float
        How many of the metric unit one printed unit is: 0.3048 where metres are printed as feet.
    """

    item: str
    row: int
    work: str
    code: str
    description: str
    quantity: float
    unit: str
    rate: float
    amount: float
    holder: str
    grant: float
    grant_name: str
    stages: tuple[tuple[int, float], ...]
    features: tuple[str, ...]
    parcels: tuple[str, ...]
    life_years: float
    price_source: str
    per_unit: float


def schedule_lines(costing: Costing, measures: Measures) -> list[Line]:
    """Return the lines in the order of printing."""
    numbers = dict.fromkeys(WORKS, 0)
    heads = [work for work in WORKS if (costing.items["work"] == work).any()]
    lines = []
    for label, row in costing.items.iterrows():
        work = str(row["work"])
        numbers[work] += 1
        per_unit, unit = _unit(str(row["unit"]), measures)
        lines.append(
            Line(
                f"{heads.index(work) + 1}.{numbers[work]}", int(str(label)), work,
                str(row["code"]), described(str(row["description"]), measures),
                float(row["quantity"]) / per_unit, unit, float(row["rate"]) * per_unit,
                float(row["amount"]), str(row["holder"]), float(row["grant"]),
                str(row["grant_name"]),
                tuple((stage, quantity / per_unit) for stage, quantity in row["stage"]),
                tuple(row["features"]), tuple(row["parcels"]), float(row["life_years"]),
                str(row["price_source"]), per_unit,
            )
        )  # fmt: skip
    return lines


def _unit(unit: str, measures: Measures) -> tuple[float, str]:
    if unit != "m":
        return 1.0, unit
    return 1.0 / measures.value("length", 1.0), measures.sign("length")


def described(text: str, measures: Measures) -> str:
    """Return a description with volumes in the reader's unit and inches beside millimetres."""
    if measures.system == "metric":
        return text

    def inches(found: re.Match[str]) -> str:
        mm = float(found[1])
        return words("schedule.with_inches", mm=found[1], inches=measures.value("diameter", mm))

    def gallons(found: re.Match[str]) -> str:
        return measures.text("volume", float(found[1].replace(",", "")))

    text = re.sub(r"(\d+(?:\.\d+)?) mm\b", inches, text)
    return re.sub(r"(\d[\d,]*(?:\.\d+)?) L\b", gallons, text)


def stages_text(stages: Sequence[tuple[int, float]]) -> str:
    """Return the stages that a line is parted into, those in a row as one: "1–3, 5"."""
    runs: list[list[int]] = []
    for stage, _ in stages:
        if runs and stage == runs[-1][-1] + 1:
            runs[-1].append(stage)
        else:
            runs.append([stage])
    return ", ".join(f"{run[0]}–{run[-1]}" if len(run) > 1 else f"{run[0]}" for run in runs)
