"""Settings of the documents that are handed over: units, title block, paper."""

from __future__ import annotations

from typing import Literal

from pydantic import field_validator

from dewpond.base.settings.fields import Table, setting


class DocumentsSettings(Table):
    """What the documents say of themselves and how they print figures: ``[documents]``."""

    units: Literal["metric", "US customary"] = setting(
        "metric",
        "Units that documents print; plan.geojson, plan.gpkg and summary.json are always metric.",
    )
    prepared_for: str = setting("", "Client, printed in the title block.")
    prepared_by: str = setting("", "Who prepared the plan, printed in the title block.")
    reference: str = setting("", "Reference of the job, printed in the title block.")
    revision: str = setting("A", "Revision of the documents.")
    date: str | None = setting(
        None, "Date of the documents, year-month-day; left out, the day on which they are written."
    )
    paper: Literal["A4", "A3", "A1"] | None = setting(
        None, "Paper of the plan sheets; left out, the smallest that shows the holding well."
    )
    scale: int | None = setting(
        None,
        "Denominator of the scale of the plan sheets, 2500 for 1:2500; left out, a round scale "
        "that fits the paper.",
        ge=100,
        le=100_000,
    )

    @field_validator("date")
    @classmethod
    def _check_date(cls, value: str | None) -> str | None:
        from datetime import date

        if value is not None:
            date.fromisoformat(value)
        return value
