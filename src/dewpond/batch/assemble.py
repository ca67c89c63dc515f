"""The tables of all holdings from their records, one after the other."""

from __future__ import annotations

import csv
import json
import shutil
import sqlite3
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import shapely

from dewpond.base.errors import OutputError
from dewpond.batch.records import FAILED, WORK, Record, Store
from dewpond.batch.tasks import Task
from dewpond.outputs.register import Register, Screening
from dewpond.plan import library_versions

_NEW = "tables"
_SUMS = ("fields", "grazed_area_ha", "outlets", "pipe_m", "cost", "daily_demand_l")


def assemble(tasks: Sequence[Task], output: Path) -> list[Path]:
    """Write every table and the map, and move each in place once all are whole.

    Parameters
    ----------
    tasks : sequence of Task
        In the order that the rows shall have.
    output : Path

    Returns
    -------
    list of Path

    Raises
    ------
    OutputError
        When a file cannot be written; the tables of an earlier run stay.
    """
    new = output / WORK / _NEW
    try:
        shutil.rmtree(new, ignore_errors=True)
        (new / "maps").mkdir(parents=True)
        _write(tasks, Store(output), new)
        names = sorted(
            path.relative_to(new).as_posix() for path in new.rglob("*") if path.is_file()
        )
        for name in names:
            (output / name).parent.mkdir(exist_ok=True)
            (new / name).replace(output / name)
    except (OSError, sqlite3.Error) as error:
        reason = (error.strerror if isinstance(error, OSError) else None) or str(error)
        raise OutputError(f"{output}: the tables could not be written ({reason})") from error
    finally:
        shutil.rmtree(new, ignore_errors=True)
    return [output / name for name in names]


def _write(tasks: Sequence[Task], store: Store, new: Path) -> None:
    register, marks = Register(new), _Marks()
    timings = (new / "timings.csv").open("w", encoding="utf-8", newline="")
    try:
        with timings, Screening(new.parent) as screening:
            timer = csv.writer(timings, lineterminator="\n")
            timer.writerow(["holding", "seconds", "peak_memory_mb"])
            for task in tasks:
                record = store.read(task.folder)
                if record is None:
                    raise OutputError(f"the record of {task.holding} was taken away")
                register.add(record.rows)
                screening.add(record.rows["fields"])
                marks.add(record)
                timer.writerow([task.holding, *map(_tenths, _costs(record))])
            register.close()
            screening.write(new / "screening.csv")
    finally:
        register.abandon()
    marks.write(new)


def _costs(record: Record) -> tuple[float | None, float | None]:
    return record.seconds, record.peak_memory_mb


def _tenths(value: float | None) -> str:
    return "" if value is None else f"{value:.2f}"


class _Marks:
    """What is kept of each holding for the map and for the sums."""

    def __init__(self) -> None:
        self._places: list[tuple[float, float]] = []
        self._status: list[str] = []
        self._kinds: Counter[str] = Counter()
        self._counts: Counter[str] = Counter()
        self._sums: dict[str, float] = dict.fromkeys(_SUMS, 0.0)
        self._currencies: set[str] = set()
        self._answers: Counter[tuple[str, str]] = Counter()

    def add(self, record: Record) -> None:
        row = record.rows["holdings"][0]
        self._counts[record.status] += 1
        if record.status == FAILED:
            self._kinds[record.kind] += 1
        else:
            self._currencies.add(row["currency"])
        for name in _SUMS:
            self._sums[name] += row[name] or 0.0
        for field in record.rows["fields"]:
            for question in ("beyond_water", "gravity"):
                if field[question] is not None:
                    self._answers[question, field[question]] += 1
        shape = shapely.from_wkb(row["geometry"])
        if shape is not None:
            self._places.append((shape.x, shape.y))
            self._status.append(record.status)

    def write(self, new: Path) -> None:
        # The drawing library is slow to import.
        from dewpond.outputs.drawing import overview_map, save_png

        save_png(
            overview_map(self._places, self._status, dict(self._counts)), new / "maps/overview.png"
        )
        text = json.dumps(self._summary(), ensure_ascii=False, indent=1, sort_keys=True)
        (new / "batch.json").write_bytes((text + "\n").encode("utf-8"))

    def _summary(self) -> dict[str, Any]:
        sums = {name: round(value, 4) for name, value in self._sums.items()}
        if len(self._currencies) > 1:  # sums of different money mean nothing
            sums.pop("cost")
        return {
            "holdings": sum(self._counts.values()),
            "by_status": dict(self._counts),
            "failures_by_kind": dict(self._kinds),
            "totals": sums,
            "currency": sorted(self._currencies),
            "fields_by_answer": {
                question: {
                    answer: count for (asked, answer), count in self._answers.items()
                    if asked == question
                }
                for question in ("beyond_water", "gravity")
            },
            "versions": library_versions(),
        }  # fmt: skip
