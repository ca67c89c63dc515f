"""How much of each paddock is commanded, how surely, and with how much head."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely

from dewpond.base.model import Holding
from dewpond.base.model.command import SERVED_CLASSES
from dewpond.base.surface import FloatArray, Grid
from dewpond.steps.command.window import centres_of

IntArray = npt.NDArray[np.intp]


def cells_of_paddocks(holding: Holding, ground: Grid) -> list[IntArray]:
    """Return the cells of each paddock, by position in the table, as positions row by row.

    Cells whose centre lies in it; for a paddock too small to hold one, the cell that holds a
    point inside it.
    """
    centres = centres_of(ground)
    columns = ground.values.shape[1]
    cells = []
    for shape in holding.paddocks.geometry:
        west, south, east, north = shape.bounds
        near = np.flatnonzero(
            (centres[:, 0] >= west) & (centres[:, 0] <= east)
            & (centres[:, 1] >= south) & (centres[:, 1] <= north)
        )  # fmt: skip
        shapely.prepare(shape)
        inside = near[shapely.contains_xy(shape, centres[near, 0], centres[near, 1])]
        if not inside.size:
            point = shape.representative_point()
            column = int((point.x - ground.transform.c) / ground.transform.a)
            row = int((point.y - ground.transform.f) / ground.transform.e)
            inside = np.array([row * columns + column], dtype=np.intp)
        cells.append(inside)
    return cells


def paddock_table(
    holding: Holding,
    cells: Sequence[IntArray],
    chosen: Sequence[int],
    share: float,
    residual_m: FloatArray,
    spare_m: FloatArray,
    chance: FloatArray,
    served_class: npt.NDArray[np.int8],
    over_class: npt.NDArray[np.bool_],
) -> pd.DataFrame:
    """Return the table of `CommandGround.paddocks`; grids as arrays, row by row.

    ``share`` of the ground of a paddock must be served for it to count as commanded.
    """
    rows = []
    for (label, paddock), own in zip(holding.paddocks.iterrows(), cells, strict=True):
        known = np.isfinite(spare_m[own])
        served = known & (np.nan_to_num(spare_m[own], nan=-1.0) >= 0.0)
        shares = {
            f"{name}_share": float((served_class[own] == number).mean())
            for number, name in enumerate(SERVED_CLASSES)
        }
        rows.append({
            "name": str(paddock["name"]),
            "chosen": label in chosen,
            "area_ha": float(paddock["area_ha"]),
            "commanded_share": float(served.mean()),
            **shares,
            "unknown_share": float((~known).mean()),
            "over_class_share": float((served & over_class[own]).mean()),
            "lowest_residual_head_m": _least(residual_m[own]),
            "highest_residual_head_m": -_least(-residual_m[own]),
            "spare_m": float(ranked(spare_m[None, own], share)[0]),
            "chance": float(ranked(chance[None, own], share)[0]),
            "commanded": bool(ranked(spare_m[None, own], share)[0] >= 0.0),
        })  # fmt: skip
    return pd.DataFrame(rows, index=holding.paddocks.index)


def ranked(values: FloatArray, share: float) -> FloatArray:
    """Return what a share of the values has at least, along the last axis; NaN ranks last.

    >>> ranked(np.array([[1.0, 4.0, 2.0, 3.0]]), 0.75).tolist()
    [2.0]
    """
    count = values.shape[-1]
    rank = max(1, int(np.ceil(share * count - 1e-9)))
    falling = -np.sort(-values, axis=-1)  # NaN stays at the end
    return np.asarray(falling[..., rank - 1])


def _least(values: FloatArray) -> float:
    known = values[np.isfinite(values)]
    return float(known.min()) if known.size else float("nan")
