"""Spots to level on site, best first."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely

from dewpond.base.model import Plan
from dewpond.outputs.layers.columns import LEVEL, SHARE, figures, table, texts


def survey_points(plan: Plan) -> gpd.GeoDataFrame:
    """Return the spots to level, none where confidence was not assessed or nothing is in doubt."""
    found = plan.confidence
    rows = None if found is None else found.survey
    if rows is None or rows.empty:
        order = np.empty(0, dtype=np.intp)
        numbers = ("ground_level_m", "deviation_m", "doubt_before", "doubt_after")
        empty = {name: np.empty(0) for name in numbers}
        columns = {"name": texts([]), "order": order, **empty, "settles": texts([])}
        return table(plan, columns, [])
    return table(
        plan,
        {
            "name": texts(list(rows["name"])),
            "order": np.arange(1, len(rows) + 1),
            "ground_level_m": figures(rows["level_m"], LEVEL),
            "deviation_m": figures(rows["deviation_m"], LEVEL),
            "doubt_before": figures(rows["doubt_before"], SHARE),
            "doubt_after": figures(rows["doubt_after"], SHARE),
            "settles": texts(list(rows["outlets"])),
        },
        list(shapely.points(rows["easting_m"], rows["northing_m"])),
    )
