"""Which paddocks works lie on, and the parcels those belong to."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely

from dewpond.base.surface import FloatArray

Shapes = Sequence[Any] | npt.NDArray[np.object_]

# Less of a line than this on a paddock is a touch of its corner [m].
_TOUCH_M = 1.0


def runs_on_m(
    paddocks: gpd.GeoDataFrame, shapes: Shapes, within_m: float
) -> list[dict[int, float]]:
    """Return for each shape the paddocks it lies on and how much of it lies there.

    Parameters
    ----------
    paddocks : GeoDataFrame
        As in `Holding`.
    shapes : sequence of Point or LineString, length n
        In the CRS of the paddocks.
    within_m : float
        Works stand on a paddock up to this far outside it: works on a shared fence on both.

    Returns
    -------
    list of dict of int to float, length n
        By paddock id, ascending: metres of the line in plan, 0 for a point. A line that only
        touches a corner does not lie there, unless it lies nowhere else.
    """
    lines = np.asarray(list(shapes), dtype=object)
    ground = paddocks.geometry.to_numpy()
    tree = shapely.STRtree(ground)
    found: list[dict[int, float]] = [{} for _ in lines]
    if not len(lines):
        return found
    rows, columns = tree.query(lines, predicate="dwithin", distance=within_m)
    wide = {column: shapely.buffer(ground[column], within_m) for column in np.unique(columns)}
    for row, column in sorted(zip(rows.tolist(), columns.tolist(), strict=True)):
        run_m = float(shapely.length(shapely.intersection(lines[row], wide[column])))
        found[row][int(paddocks.index[column])] = run_m
    return [
        _without_touches(runs, line, within_m) for runs, line in zip(found, lines, strict=True)
    ]


def _without_touches(runs: dict[int, float], line: Any, within_m: float) -> dict[int, float]:
    if shapely.length(line) == 0.0:
        return runs
    # A line that crosses a corner square on runs this far within the margin round it.
    kept = {ident: run for ident, run in runs.items() if run > 2.0 * within_m + _TOUCH_M}
    longest = max(runs.values(), default=0.0)
    return kept or {ident: run for ident, run in runs.items() if run >= longest - 1e-6}


def parcels_of(paddocks: gpd.GeoDataFrame, ids: Sequence[int]) -> tuple[str, ...]:
    """Return the identifiers of the parcels of some paddocks, each once; none where not known."""
    if "parcel" not in paddocks:
        return ()
    names = [str(paddocks.at[ident, "parcel"]) for ident in ids]
    return tuple(dict.fromkeys(name for name in names if name))


def parcels_under(
    paddocks: gpd.GeoDataFrame, shapes: Shapes, within_m: float
) -> list[tuple[str, ...]]:
    """Return the parcels that each shape lies on; as `runs_on_m`, then `parcels_of`."""
    if "parcel" not in paddocks:
        return [() for _ in shapes]
    return [parcels_of(paddocks, list(runs)) for runs in runs_on_m(paddocks, shapes, within_m)]


def length_only_on_m(
    paddocks: gpd.GeoDataFrame, ids: npt.NDArray[np.intp], lines: Shapes, within_m: float
) -> FloatArray:
    """Return how much of each line cannot lie elsewhere than on some paddocks [m in plan]."""
    if not len(ids):
        return np.zeros(len(lines))
    others = np.setdiff1d(paddocks.index.to_numpy(), ids)
    own = shapely.union_all(shapely.buffer(paddocks.geometry.loc[ids].to_numpy(), within_m))
    free = shapely.union_all(shapely.buffer(paddocks.geometry.loc[others].to_numpy(), within_m))
    only = shapely.difference(own, free)
    return np.asarray(shapely.length(shapely.intersection(np.asarray(list(lines)), only)))
