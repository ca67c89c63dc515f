"""What lies between two boundaries that are close together: a gap, an overlap, or a paddock."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import shapely

from dewpond.base.surface import FloatArray

# Nearer to a paddock's edge than this share of the gap, the paddock may be a drawing error.
_EDGE_GAPS = 0.1


class GroundBetween:
    """Tells the gap of a double fence from a strip of grazed ground just as narrow.

    Parameters
    ----------
    paddocks : array of polygons
    gap_m : float
        Boundaries no farther apart than this may be one fence [m].
    """

    def __init__(self, paddocks: npt.NDArray[np.object_], gap_m: float) -> None:
        self._whole = shapely.STRtree(paddocks)
        self._inner = shapely.STRtree(shapely.buffer(paddocks, -_EDGE_GAPS * gap_m))

    def is_grazed(self, ways: FloatArray) -> npt.NDArray[np.bool_]:
        """Tell which straight ways pass over the ground of just one paddock, well inside it.

        Over a gap there is no paddock; where neighbours overlap there are two.

        Parameters
        ----------
        ways : array of float, shape (n, 2 ends, 2 coordinates)
        """
        middles = shapely.points(ways.mean(axis=1))
        grazed: npt.NDArray[np.bool_] = (_count(self._whole, middles) == 1) & (
            _count(self._inner, middles) == 1
        )
        return grazed


def _count(tree: shapely.STRtree, points: npt.NDArray[np.object_]) -> npt.NDArray[np.intp]:
    hits = tree.query(points, predicate="intersects")[0]
    return np.bincount(hits, minlength=len(points))
