"""The size of pipe that is there already, carried to the edges that follow it."""

from __future__ import annotations

import numpy as np
import shapely

from dewpond.base.model import Holding
from dewpond.base.surface import FloatArray
from dewpond.steps.corridors.graph import Edges
from dewpond.steps.corridors.linework import EXISTING, sound_pipe

# An edge lies on a pipe within this [m], by more than the other length [m] or half of itself.
_ON_IT_M = 0.01
_MORE_THAN_M = 0.5


def existing_size_mm(holding: Holding, edges: Edges) -> FloatArray:
    """Return the least outside diameter of the pipe that each edge follows [mm], shape (m,).

    NaN where an edge is new or the size of any part of its pipe is not known.
    """
    size_mm = np.full(len(edges.lines), np.nan)
    old = np.flatnonzero(edges.laying == EXISTING)
    pipe = sound_pipe(holding)
    if not len(old) or "outside_diameter_mm" not in pipe:
        return size_mm
    shapes = pipe.geometry.to_numpy()
    edge, feature = shapely.STRtree(shapes).query(
        edges.lines[old], predicate="dwithin", distance=_ON_IT_M
    )
    lines = edges.lines[old[edge]]
    along = shapely.intersection(shapely.buffer(lines, 2 * _ON_IT_M), shapes[feature])
    least_m = np.minimum(_MORE_THAN_M, shapely.length(lines) / 2)
    on = shapely.length(along) > least_m
    least = np.full(len(edges.lines), np.inf)
    known = pipe["outside_diameter_mm"].to_numpy(dtype=np.float64)[feature[on]]
    # One part without a size leaves the whole unknown.
    np.minimum.at(least, old[edge[on]], np.where(np.isnan(known), -np.inf, known))
    return np.where(np.isfinite(least), least, np.nan)
