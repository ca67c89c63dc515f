"""Fields of many holdings in order of two questions: how far from water, how far under gravity."""

from __future__ import annotations

import csv
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from types import TracebackType
from typing import Any

from dewpond.base.words import words
from dewpond.outputs.register.cells import plain_cell

COLUMNS = ("question", "rank", "holding", "field", "answer", "measure", "unit", "area_ha")

_QUESTIONS = {
    "beyond_water": ("beyond_water_ha", "ha", "farthest_from_water_m"),
    "gravity": ("gravity_head_m", "m", "area_ha"),
}


class Screening:
    """Gathers fields and writes them ranked; sorted on disk, so that millions fit.

    Parameters
    ----------
    folder : Path
        Where the working file stands while it is needed.
    """

    def __init__(self, folder: Path) -> None:
        self._path = folder / "screening.sqlite"
        self._path.unlink(missing_ok=True)
        self._database = sqlite3.connect(self._path)
        self._database.execute(
            "CREATE TABLE field (question, measure, second, holding, field, answer, area_ha)"
        )

    def add(self, fields: list[dict[str, Any]]) -> None:
        """Take the grazed fields of one holding into both rankings."""
        self._database.executemany(
            "INSERT INTO field VALUES (?, ?, ?, ?, ?, ?, ?)",
            [
                (
                    question, row[measure], row[second], row["holding"], row["field"],
                    row[question], row["area_ha"],
                )
                for row in fields
                if row["grazed"]
                for question, (measure, _, second) in _QUESTIONS.items()
                if row[question] is not None
            ],
        )  # fmt: skip

    def write(self, path: Path) -> None:
        """Write ``screening.csv``: for each question its fields, the first in rank first.

        Most ground beyond water first, of equals the farthest; most head first, of equals the
        largest field. Equal in all that, by holding and field.
        """
        with path.open("w", encoding="utf-8", newline="") as stream:
            writer = csv.writer(stream, lineterminator="\n")
            writer.writerow(COLUMNS)
            for question, (_, unit, _) in _QUESTIONS.items():
                spelled = words(f"batch.question.{question}")
                for rank, row in enumerate(self._ranked(question), start=1):
                    holding, field, answer, measure, area_ha = row
                    writer.writerow([
                        spelled, rank, plain_cell(holding), plain_cell(field), answer,
                        "" if measure is None else measure, unit, area_ha,
                    ])  # fmt: skip

    def _ranked(self, question: str) -> Iterator[Any]:
        with closing(self._database.cursor()) as cursor:
            yield from cursor.execute(
                "SELECT holding, field, answer, measure, area_ha FROM field WHERE question = ? "
                "ORDER BY measure DESC, second DESC, holding, field",
                (question,),
            )

    def __enter__(self) -> Screening:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._database.close()
        self._path.unlink(missing_ok=True)
