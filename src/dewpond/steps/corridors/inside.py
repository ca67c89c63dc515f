"""Ways to sites far within paddocks: from one to the next, not each on its own to the fence."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import shapely
from scipy.spatial import KDTree

from dewpond.base.surface import FloatArray
from dewpond.steps.corridors.linework import OPEN_GROUND, Linework, lines_between
from dewpond.steps.corridors.links import is_free, nothing_between, spurs
from dewpond.steps.corridors.open_ground import neighbours

# A site whose nearest neighbour is nearer than this share of the way to a line is deep within.
_DEEP = 0.5
# From a deep site ways lead on to neighbours up to this many times as far as the nearest: on a
# square lattice those beside it and across.
_NEIGHBOURS = 1.5


def tie_inside(
    work: Linework, sites: FloatArray, others: FloatArray, forbidden: shapely.Geometry
) -> Linework:
    """Tie points off the lines: to the lines by spurs, or deep within a paddock to each other.

    Parameters
    ----------
    work : Linework
    sites : array of float, shape (n, 2)
        Sites that stand on no line.
    others : array of float, shape (k, 2)
        Other such points; they are tied by spurs alone.
    forbidden : geometry
    """
    if len(sites) < 4 or len(work.lines) == 0:
        return spurs(work, np.vstack([sites, others]), forbidden)
    deep, nearest_m = _deep(work, sites)
    one, other = neighbours(sites, np.inf)
    links = lines_between(sites[one], sites[other])
    longest_m = _NEIGHBOURS * np.maximum(
        np.where(deep[one], nearest_m[one], 0.0), np.where(deep[other], nearest_m[other], 0.0)
    )
    kept = np.flatnonzero(shapely.length(links) <= longest_m)
    links = links[kept]
    clear = is_free(links, forbidden) & nothing_between(work, links)
    tied = np.isin(np.arange(len(sites)), np.concatenate([one[kept[clear]], other[kept[clear]]]))
    work = spurs(work, np.vstack([sites[~(deep & tied)], others]), forbidden)
    return work.with_lines(links[clear], OPEN_GROUND)


def _deep(work: Linework, sites: FloatArray) -> tuple[npt.NDArray[np.bool_], FloatArray]:
    """Tell which sites are nearer to another than to a line, and how near [m]."""
    nearest_m = np.asarray(KDTree(sites).query(sites, k=2)[0][:, 1], dtype=np.float64)
    to_line_m = shapely.distance(
        shapely.points(sites),
        work.lines[shapely.STRtree(work.lines).query_nearest(
            shapely.points(sites), all_matches=False
        )[1]],
    )  # fmt: skip
    return nearest_m < _DEEP * to_line_m, nearest_m
