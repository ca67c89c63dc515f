"""The schedules: every outlet, every pipe, what stands on the pipe, what is not met."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from dewpond.base.measures import Quantity
from dewpond.base.words import words
from dewpond.outputs.drawing import lettering as letter
from dewpond.outputs.drawing.plan_sheet.job import Job
from dewpond.outputs.drawing.plan_sheet.page import one_line
from dewpond.outputs.drawing.plan_sheet.tables import Column, Table

_POINTS = (
    "break_tank", "reducing_valve", "air_valve", "washout", "drain", "stop_valve", "meter",
)  # fmt: skip
_QUANTITY_OF: dict[str, Quantity] = {
    "m": "head", "L": "volume", "L/min": "flow", "m/s": "speed", "bar": "pressure",
    "kg": "weight", "W": "power", "ha": "area",
}  # fmt: skip
"""How the figure of a requirement is printed, by its unit."""
_LONGEST = 400


def schedules(job: Job) -> list[Table]:
    """Return the tables of a set of sheets, in their order."""
    return [_outlets(job), _pipes(job), _points(job), _not_met(job)]


def _outlets(job: Job) -> Table:
    outlets = job.layers["outlet"]
    remarks = [
        [", ".join(fittings), *_sentences(notes)]
        for fittings, notes in zip(outlets["fittings"], outlets["notes"], strict=True)
    ]
    shown, notes = _numbered(remarks)
    rows = [
        [
            row["name"],
            f"{row.geometry.x:.1f}",
            f"{row.geometry.y:.1f}",
            *_figures(job, row, ("level", "ground_level_m"), ("head", "static_head_m"),
                      ("head", "residual_head_m"), ("head", "needed_head_m"),
                      ("flow", "design_flow_l_min"), ("flow", "available_flow_l_min")),
            _text(row["trough"]),
            *_figures(job, row, ("volume", "trough_volume_l")),
            "; ".join(one_line(name) for name in row["serves"]),
            remark,
        ]
        for (_, row), remark in zip(outlets.iterrows(), shown, strict=True)
    ]  # fmt: skip
    columns = _columns(
        job, "outlet",
        ("name", "easting", "northing", "ground:level", "static:head", "residual:head",
         "needed:head", "wanted:flow", "had:flow", "trough", "volume:volume", "serves*",
         "remarks*"),
    )  # fmt: skip
    return Table(words("plan_sheet.outlet.title"), columns, rows, notes)


def _pipes(job: Job) -> Table:
    pipes = job.layers["pipe"]
    shown, notes = _numbered([_sentences(note) for note in pipes["notes"]])
    rows = [
        [
            row["name"],
            one_line(row["from"]),
            one_line(row["to"]),
            *_figures(job, row, ("length", "length_m")),
            _size(job, row["outside_diameter_mm"]),
            _material(row),
            *_figures(job, row, ("pressure", "pressure_class_bar"),
                      ("flow", "design_flow_l_min"), ("speed", "velocity_m_s"),
                      ("head", "friction_loss_m"), ("head", "highest_static_head_m"),
                      ("head", "lowest_residual_head_m")),
            _text(row["laying"]),
            _crossings(row["crossings"]),
            remark,
        ]
        for (_, row), remark in zip(pipes.iterrows(), shown, strict=True)
    ]  # fmt: skip
    columns = _columns(
        job, "pipe",
        ("name", "from*", "to*", "length:length", "size", "material", "class:pressure",
         "flow:flow", "speed:speed", "loss:head", "highest:head", "lowest:head", "laying",
         "crossings*", "remarks*"),
    )  # fmt: skip
    total = words(
        "plan_sheet.pipe.total",
        length=job.measures.text("length", float(np.nansum(pipes["length_m"].to_numpy(float)))),
    )
    return Table(words("plan_sheet.pipe.title"), columns, rows, [total, *notes])


def _points(job: Job) -> Table:
    rows = [
        [
            row["name"],
            row["pipe"],
            *_figures(job, row, ("length", "distance_m")),
            f"{row.geometry.x:.1f}",
            f"{row.geometry.y:.1f}",
            *_figures(job, row, ("level", "ground_level_m")),
            _text(row.get("reason") or words(f"plan_sheet.point.why.{kind}")),
        ]
        for kind in _POINTS
        for _, row in job.layers[kind].iterrows()
    ]
    columns = _columns(
        job, "point",
        ("name", "pipe", "distance:length", "easting", "northing", "ground:level", "reason*"),
    )  # fmt: skip
    return Table(words("plan_sheet.point.title"), columns, rows)


def _not_met(job: Job) -> Table:
    rows = []
    for verdict in job.plan.verdicts:
        if verdict.met:
            continue
        quantity = _QUANTITY_OF.get(verdict.unit)
        figure, limit = (
            letter.minus(job.measures.text(quantity, value))
            if quantity
            else words("plan_sheet.figure", value=value, unit=verdict.unit)
            for value in (verdict.figure, verdict.limit)
        )
        texts = (verdict.requirement, verdict.where, verdict.remedy)
        requirement, where, remedy = (one_line(text, _LONGEST) for text in texts)
        rows.append([requirement, figure, limit, where, remedy])
    columns = _columns(job, "verdict", ("requirement*", "figure", "limit", "where*", "remedy*"))
    return Table(words("plan_sheet.verdict.title"), columns, rows)


def _columns(job: Job, table: str, names: Sequence[str]) -> list[Column]:
    """Return columns: ``name:quantity`` is one of figures with a unit, ``name*`` may break."""
    columns = []
    for entry in names:
        name, colon, quantity = entry.removesuffix("*").partition(":")
        heading = words(
            f"plan_sheet.{table}.{name}",
            unit=job.measures.sign(quantity) if quantity else "",  # type: ignore[arg-type]
        )
        figures = bool(colon) or name in ("easting", "northing", "figure", "limit")
        columns.append(Column(heading, entry.endswith("*"), figures))
    return columns


def _figures(job: Job, row: pd.Series, *wanted: tuple[Quantity, str]) -> list[str]:
    return [
        letter.minus(job.measures.figure(quantity, float(row[column])))
        for quantity, column in wanted
    ]


def _size(job: Job, size_mm: float) -> str:
    """Return the size that pipe is sold by, with inches beside where those are asked for."""
    if not np.isfinite(size_mm):
        return "–"
    if job.measures.system == "metric":
        return words("plan_sheet.size_mm", size_mm=size_mm)
    return words(
        "plan_sheet.size_in", size_mm=size_mm, size=job.measures.text("diameter", size_mm)
    )


def _material(row: pd.Series) -> str:
    if not isinstance(row["material"], str):
        return "–"
    sdr = float(row["sdr"])
    return words("plan_sheet.material", material=one_line(row["material"], 24),
                 sdr=f"{sdr:g}" if np.isfinite(sdr) else "")  # fmt: skip


def _crossings(crossings: Sequence[str]) -> str:
    return ", ".join(
        words("plan_sheet.crossing", kind=kind, times=times)
        for kind, times in Counter(crossings).items()
    )


def _text(value: Any) -> str:
    return one_line(value, _LONGEST) if isinstance(value, str) and value else "–"


def _sentences(notes: object) -> list[str]:
    return [part for part in str(notes or "").split("; ") if part]


def _numbered(remarks: Sequence[Sequence[str]]) -> tuple[list[str], list[str]]:
    """Say once, by number, what holds for several rows; what holds for one stays in its row.

    Returns
    -------
    list of str
        What is written in each row.
    list of str
        The numbered notes.
    """
    times = Counter(text for row in remarks for text in dict.fromkeys(row) if text)
    common = [text for text, count in times.items() if count > 1]
    number = {text: i for i, text in enumerate(common, start=1)}
    rows = []
    for row in remarks:
        kept = list(dict.fromkeys(filter(None, row)))
        numbers = [str(number[text]) for text in kept if text in number]
        own = [one_line(text, _LONGEST) for text in kept if text not in number]
        see = [words("plan_sheet.see_notes", numbers=numbers)] if numbers else []
        rows.append("; ".join([*own, *see]))
    notes = [
        words("plan_sheet.note", number=number[text], text=one_line(text, _LONGEST))
        for text in common
    ]
    return rows, notes
