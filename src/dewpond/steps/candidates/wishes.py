"""Places that the user names: outlets there already, outlets that must be, lines that carry them.

A place is a row as in `places`; a spine place must pass the rules, the others stand by the user's
word.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely

from dewpond.base.model import Features, Holding
from dewpond.base.surface import FloatArray

FIXED, EXISTING, SPINE = "fixed", "existing", "spine"
BY_WORD = (FIXED, EXISTING)

# An outlet in this condition is not used again.
_WORN_OUT = "poor"


def wished_places(holding: Holding, spine_spacing_m: float, beside_m: float) -> pd.DataFrame:
    """Return the places the user names, with the grazed paddocks each could serve.

    Parameters
    ----------
    holding : Holding
    spine_spacing_m : float
        Between outlets along each line of the spine; the row is centred on the line [m].
    beside_m : float
        A place this near to a paddock serves it [m].
    """
    features = holding.features
    kinds = {
        FIXED: features.fixed_outlets.geometry.to_numpy(),
        EXISTING: _sound(features),
        SPINE: _along_spine(features, spine_spacing_m),
    }
    points = np.concatenate([np.asarray(shapes, dtype=object) for shapes in kinds.values()])
    coordinates = shapely.get_coordinates(points)
    return pd.DataFrame(
        {
            "easting_m": coordinates[:, 0],
            "northing_m": coordinates[:, 1],
            "paddocks": _beside(holding, points, beside_m),
            "kind": np.repeat(list(kinds), [len(shapes) for shapes in kinds.values()]),
        }
    )


def _sound(features: Features) -> npt.NDArray[np.object_]:
    outlets = features.existing_outlets
    if "condition" in outlets:
        outlets = outlets[outlets["condition"] != _WORN_OUT]
    return np.asarray(outlets.geometry, dtype=object)


def _along_spine(features: Features, spacing_m: float) -> npt.NDArray[np.object_]:
    merged = [shapely.line_merge(shape) for shape in features.spine.geometry]
    lines = shapely.get_parts(np.array([*merged, None], dtype=object)[:-1])
    points = [shapely.line_interpolate_point(line, _marks(line, spacing_m)) for line in lines]
    return np.concatenate([np.empty(0, dtype=object), *points])


def _marks(line: shapely.LineString, spacing_m: float) -> FloatArray:
    """Return distances along a line one spacing apart, as many as fit, centred on it [m]."""
    steps = np.arange(int(line.length // spacing_m) + 1) * spacing_m
    marks: FloatArray = steps + (line.length - steps[-1]) / 2
    return marks


def _beside(
    holding: Holding, points: npt.NDArray[np.object_], beside_m: float
) -> list[tuple[int, ...]]:
    grazed = np.array(holding.grazed, dtype=np.intp)
    tree = shapely.STRtree(holding.paddocks.geometry.loc[grazed].to_numpy())
    place, paddock = tree.query(points, predicate="dwithin", distance=beside_m)
    return [tuple(np.sort(grazed[paddock[place == one]]).tolist()) for one in range(len(points))]
