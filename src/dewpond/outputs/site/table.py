"""The points to set out as a table for a spreadsheet or a survey instrument."""

from __future__ import annotations

import csv
import io
import math

from dewpond.base.cells import harmless_cell
from dewpond.base.measures import Measures
from dewpond.outputs.site.points import SitePoints

_TEXTS = ("name", "kind", "pipe", "parcels", "notes")


def points_csv(site: SitePoints, measures: Measures) -> str:
    """Return the points as CSV, UTF-8, one row each.

    Degrees to 8 decimals and grid coordinates to the millimetre, so that nothing is lost by
    writing; levels and chainage in the units that documents print, to 2 decimals. A text that a
    spreadsheet would take for a formula starts with an apostrophe.

    Parameters
    ----------
    site : SitePoints
    measures : Measures
        Its units stand in the headings of level and chainage.
    """
    sign = measures.sign("level")
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(
        ["name", "kind", "pipe", "longitude", "latitude", "easting_m", "northing_m", "crs",
         f"ground_level_{sign}", f"chainage_{sign}", "parcels", "notes"]
    )  # fmt: skip
    for _, row in site.points.iterrows():
        text = {column: harmless_cell(row[column]) for column in _TEXTS}
        writer.writerow(
            [
                text["name"],
                text["kind"],
                text["pipe"],
                f"{row['longitude']:.8f}",
                f"{row['latitude']:.8f}",
                f"{row['easting_m']:.3f}",
                f"{row['northing_m']:.3f}",
                harmless_cell(site.crs),
                _figure(measures.value("level", row["ground_level_m"])),
                _figure(measures.value("length", row["chainage_m"])),
                text["parcels"],
                text["notes"],
            ]
        )
    return out.getvalue()


def _figure(value: float) -> str:
    return f"{value:.2f}" if math.isfinite(value) else ""
