"""What stands on the pipe: breaks in the pressure, stop valves, meters, drains."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely

from dewpond.base.model import Plan
from dewpond.base.surface import FloatArray
from dewpond.outputs.layers.columns import LENGTH, LEVEL, SHARE, figures, table, texts
from dewpond.outputs.layers.levels import still_level_m

_SAME_PLACE_M = 0.01


def breaks(plan: Plan, kind: str) -> gpd.GeoDataFrame:
    """Return the break tanks or the reducing valves, with the levels before and after each."""
    rows = plan.scheme.sizes.breaks
    rows = rows[rows["kind"] == kind]
    distance = _from_source_m(plan, rows)
    before = [
        float(still_level_m(plan, str(pipe), [at])[0])
        for pipe, at in zip(rows["pipe"], distance, strict=True)
    ]
    return table(
        plan,
        {
            "name": texts(list(rows.index)),
            "pipe": texts(list(rows["pipe"])),
            "distance_m": figures(distance, LENGTH),
            "ground_level_m": figures(_ground_m(plan, rows["pipe"], distance), LEVEL),
            "level_before_m": figures(before, LEVEL),
            "level_after_m": figures(rows["level_m"].to_numpy(float), LEVEL),
            "reason": texts(list(rows["reason"])),
        },
        _points(rows),
    )


def stop_valves(plan: Plan) -> gpd.GeoDataFrame:
    """Return the stop valves, with what goes dry behind each while it is shut."""
    rows = _of_kind(plan, "stop valve")
    sections = plan.scheme.isolation.sections.reindex(rows.index)
    shut = [tuple(s) if isinstance(s, tuple) else () for s in sections["outlets_shut"]]
    return table(
        plan,
        {
            **_places(plan, rows),
            "outlets_shut": texts(shut),
            "dry_share": figures(sections["dry_share"].to_numpy(float), SHARE),
        },
        _points(rows),
    )


def meters(plan: Plan) -> gpd.GeoDataFrame:
    """Return the meters."""
    rows = _of_kind(plan, "meter")
    return table(plan, _places(plan, rows), _points(rows))


def drains(plan: Plan, washouts: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Return the drains other than in hollows: the washout that stands there drains it as well."""
    rows = _of_kind(plan, "drain")
    taken = shapely.STRtree(list(washouts.geometry))
    near, _ = taken.query(_points(rows), predicate="dwithin", distance=_SAME_PLACE_M)
    rows = rows[~np.isin(np.arange(len(rows)), near)]
    names = [f"drain {number + 1}" for number in range(len(rows))]
    return table(plan, {**_places(plan, rows), "name": texts(names)}, _points(rows))


def _of_kind(plan: Plan, kind: str) -> pd.DataFrame:
    fittings = plan.scheme.isolation.fittings
    return fittings[fittings["kind"] == kind]


def _places(plan: Plan, rows: pd.DataFrame) -> dict[str, object]:
    return {
        "name": texts(list(rows.index)),
        "pipe": texts(list(rows["pipe"])),
        "distance_m": figures(_from_source_m(plan, rows), LENGTH),
        "ground_level_m": figures(rows["ground_level_m"].to_numpy(float), LEVEL),
        "reason": texts(list(rows["reason"])),
    }


def _from_source_m(plan: Plan, rows: pd.DataFrame) -> FloatArray:
    """Return distances along the pipe from the source, as all other points of the pipe have."""
    starts = [plan.heads.sections[str(pipe)].distance_m[0] for pipe in rows["pipe"]]
    return np.asarray(rows["distance_m"].to_numpy(float) + np.array(starts, dtype=float))


def _ground_m(plan: Plan, pipes: pd.Series, distance_m: FloatArray) -> list[float]:
    sections = [plan.heads.sections[str(pipe)] for pipe in pipes]
    return [
        float(np.interp(at, section.distance_m, section.ground_level_m))
        for section, at in zip(sections, distance_m, strict=True)
    ]


def _points(rows: pd.DataFrame) -> npt.NDArray[np.object_]:
    easting, northing = (rows[c].to_numpy(float) for c in ("easting_m", "northing_m"))
    # An array of its own: of no rows the library would make one of another type.
    points = np.empty(len(rows), dtype=object)
    points[:] = list(shapely.points(easting, northing))
    return points
