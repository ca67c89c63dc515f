"""The whole set of sheets as one PDF."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime, time
from functools import partial
from pathlib import Path
from typing import Any

import geopandas as gpd
import matplotlib
from matplotlib.backends.backend_pdf import PdfPages

from dewpond.base.dates import document_date
from dewpond.base.measures import Measures
from dewpond.base.model import Plan
from dewpond.base.words import words
from dewpond.outputs.drawing import lettering as letter
from dewpond.outputs.drawing.plan_sheet.division import divide
from dewpond.outputs.drawing.plan_sheet.job import Draft, Job
from dewpond.outputs.drawing.plan_sheet.long_sections import section_drafts
from dewpond.outputs.drawing.plan_sheet.map_sheet import draw_map_sheet
from dewpond.outputs.drawing.plan_sheet.page import Page
from dewpond.outputs.drawing.plan_sheet.paper import scale_text
from dewpond.outputs.drawing.plan_sheet.schedules import schedules
from dewpond.outputs.drawing.plan_sheet.tables import flow
from dewpond.outputs.drawing.plan_sheet.title_block import draw_title_block

_PDF_SETTINGS: Any = {
    # TrueType as it is: text can be searched and copied, whatever its script.
    "pdf.fonttype": 42,
    "pdf.compression": 9,
    "pdf.use14corefonts": False,
    "pdf.inheritcolor": False,
    "path.simplify": True,
    "path.simplify_threshold": 1.0 / 9.0,
    "agg.path.chunksize": 0,
    "image.composite_image": True,
    "hatch.linewidth": 0.5,
    "hatch.color": matplotlib.rcParamsDefault["hatch.color"],
    "text.usetex": False,
    "axes.unicode_minus": True,
}


def save_plan_sheets(plan: Plan, layers: Mapping[str, gpd.GeoDataFrame], path: Path) -> None:
    """Write the sheets of a plan as PDF: maps, schedules, long sections.

    Lines and lettering are vectors, fonts are embedded, text can be selected; the one picture on
    a sheet is the hillshade under its map. All sheets are on one paper, lying on its long side.
    The same plan gives the same bytes on the same date.

    Parameters
    ----------
    plan : Plan
    layers : mapping of str to GeoDataFrame
        Features of the plan by kind, in its working CRS.
    path : Path

    Raises
    ------
    OSError
        When the file cannot be written.
    """
    settings = plan.project.documents
    job = Job(
        plan, layers, Measures(settings.units), divide(plan, layers), document_date(plan.project)
    )
    drafts = draft_sheets(job)
    metadata = {
        "Title": words("plan_sheet.file_title", holding=letter.plain(plan.holding.name)),
        "Author": letter.plain(settings.prepared_by) or None,
        "Creator": "dewpond",
        "Producer": None,
        "CreationDate": datetime.combine(job.date, time(), UTC),
    }
    with (
        matplotlib.rc_context(_PDF_SETTINGS),
        PdfPages(path, metadata=metadata) as document,
    ):
        for number, draft in enumerate(drafts, start=1):
            page = Page(job.paper)
            draft.draw(page)
            draw_title_block(page, job, draft, number, len(drafts))
            document.savefig(page.figure, facecolor="none", edgecolor="none")


def draft_sheets(job: Job) -> list[Draft]:
    """Return all sheets of a set in their order: maps, schedules, long sections."""
    tiles = job.division.tiles
    scale = scale_text(job.division.scale, job.measures.system)
    maps = [
        Draft(
            words("plan_sheet.drawing.whole")
            if len(tiles) == 1
            else words("plan_sheet.drawing.part", part=tile.number, parts=len(tiles)),
            scale,
            partial(draw_map_sheet, job=job, tile=tile),
        )
        for tile in tiles
    ]
    title, no_scale = words("plan_sheet.drawing.schedules"), words("plan_sheet.no_scale")
    tables = [Draft(title, no_scale, sheet.draw) for sheet in flow(job.paper, schedules(job))]
    return [*maps, *tables, *section_drafts(job)]
