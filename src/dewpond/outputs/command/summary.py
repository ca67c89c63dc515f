"""The command area as a table for a spreadsheet and as JSON for a program."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from typing import Any

from dewpond.base.model import CommandArea
from dewpond.base.strict_json import json_text

_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def command_csv(area: CommandArea) -> str:
    """Return one row for each paddock; a figure that is not known is empty.

    Names that a spreadsheet would take for a formula start with an apostrophe.
    """
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    table = area.ground.paddocks
    writer.writerow(table.columns)
    for row in table.to_dict("records"):
        writer.writerow([_cell(str(key), value) for key, value in row.items()])
    return text.getvalue()


def command_json(area: CommandArea, files: Sequence[str]) -> str:
    """Return ``summary.json`` of a command area; a figure that is not known is null.

    Parameters
    ----------
    area : CommandArea
    files : sequence of str
        Paths of all files of the result; they tell a later run which files it may replace.
    """
    return json_text(_record(area, files))


def _record(area: CommandArea, files: Sequence[str]) -> dict[str, Any]:
    ground, case, pipe = area.ground, area.ground.case, area.ground.case.pipe
    return {
        "holding": area.holding.name,
        "met": area.met,
        "source": {
            "name": case.source,
            "kind": case.kind,
            "level_m": case.level_m,
            "still_level_m": case.still_level_m,
            "level_known": case.level_known,
            "gives_the_flow": case.enough,
        },
        "asked": {
            "flow_l_min": case.flow_l_min,
            "head_m": case.head_m,
            "summit_margin_m": case.margin_m,
            "length_factor": case.length_factor,
            "share_wanted": area.project.command_area.share_wanted,
        },
        "pipe": {
            "material": pipe.material,
            "outside_diameter_mm": pipe.outside_diameter_mm,
            "inside_diameter_mm": pipe.bore_mm,
            "sdr": pipe.sdr,
            "pressure_class_bar": pipe.pressure_class_bar,
            "friction_m_per_100_m": 100.0 * case.loss_per_m,
            "fittings_loss_m": case.fittings_loss_m,
            "velocity_m_s": case.velocity_m_s,
            "allowed_static_head_m": case.allowed_static_head_m,
        },
        "reasons": dict(case.reasons),
        "paddocks": ground.paddocks.to_dict("records"),
        "tank_sites": ground.tanks.to_dict("records"),
        "heights": dict(ground.assumed),
        "grid": {
            "cell_m": ground.spare_m.transform.a,
            "rows": ground.spare_m.values.shape[0],
            "columns": ground.spare_m.values.shape[1],
        },
        "crs": {
            "name": area.holding.crs.name,
            "wkt": area.holding.crs.to_wkt(),
        },
        "warnings": list(area.warnings),
        "repairs": list(area.holding.repairs),
        "credits": list(area.holding.credits),
        "settings": area.project.model_dump(mode="json", exclude={"what_if", "breaks"}),
        "versions": dict(area.versions),
        "inputs": {path: {"sha256": digest} for path, digest in area.holding.inputs.items()},
        "files": list(files),
    }


def _cell(key: str, value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        decimals = 4 if key.endswith(("_share", "_ha")) or key == "chance" else 2
        return f"{value:.{decimals}f}" if math.isfinite(value) else ""
    text = str(value)
    return f"'{text}" if text.startswith(_FORMULA) else text
