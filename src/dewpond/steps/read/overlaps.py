"""Ground claimed twice: paddocks drawn twice, and neighbours that overlap."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely

from dewpond.base.words import words
from dewpond.steps.read.notes import Notes, area_text, listed
from dewpond.steps.read.outlines import mean_width_m, without_slivers

_SAME_SHARE = 0.98
"""Share of two outlines in common from which they are one paddock drawn twice; common
practice, no source."""

_DUST_M2 = 1e-6
"""Shared ground below a square millimetre comes from rounding, not from drawing."""

Shapes = npt.NDArray[Any]


@dataclass(frozen=True, eq=False)
class _Pairs:
    """Pairs of outlines that share ground, first < second."""

    first: npt.NDArray[np.intp]
    second: npt.NDArray[np.intp]
    area_m2: npt.NDArray[np.float64]
    width_m: npt.NDArray[np.float64]


def drawn_twice(table: pd.DataFrame, notes: Notes) -> npt.NDArray[np.bool_]:
    """Return which paddocks to drop because an earlier one has the same outline and name.

    Two names on one outline are a fault: nobody can tell which is meant.

    Parameters
    ----------
    table : DataFrame
        Columns ``written`` (name as in the file, may be empty), ``label``, ``geometry``.
    notes : Notes
    """
    shapes = table["geometry"].to_numpy()
    pairs = _pairs(shapes)
    area = shapely.area(shapes)
    union = area[pairs.first] + area[pairs.second] - pairs.area_m2
    drop = np.zeros(len(shapes), dtype=bool)
    for kept, copy in _where(pairs, pairs.area_m2 >= _SAME_SHARE * union):
        names = table["written"].iloc[kept], table["written"].iloc[copy]
        if drop[kept] or drop[copy]:
            continue
        if names[0] == names[1] or "" in names:
            drop[kept if names[0] == "" and names[1] != "" else copy] = True
            notes.repairs.append(
                words(
                    "data.overlaps.drawn_twice",
                    label=table["label"].iloc[copy],
                    earlier=table["label"].iloc[kept],
                )
            )
            continue
        notes.fault(
            table["label"].iloc[copy],
            "has the same outline as another paddock of a different name",
            found=f"the outline of {table['label'].iloc[kept]}",
            expected="each paddock once",
            remedy="delete one of the two",
        )
    return drop


def part_neighbours(
    table: pd.DataFrame, share_limit: float, sliver_width_m: float, notes: Notes
) -> Shapes:
    """Return outlines that no longer overlap: the smaller of two keeps the ground they share.

    The rule does not depend on the order in the file (equal areas aside, where the earlier one
    keeps it), and takes ground from the paddock that misses it least. An overlap above
    ``share_limit`` of the smaller paddock is a fault.
    """
    shapes: Shapes = table["geometry"].to_numpy().copy()
    pairs = _pairs(shapes)
    area = shapely.area(shapes)
    union = area[pairs.first] + area[pairs.second] - pairs.area_m2
    share = pairs.area_m2 / np.minimum(area[pairs.first], area[pairs.second])
    twice = pairs.area_m2 >= _SAME_SHARE * union
    _refuse(table, pairs, share, (share > share_limit) & ~twice, share_limit, notes)
    allowed = share <= share_limit
    _report(table, pairs, allowed, sliver_width_m, notes)
    first_keeps = area[pairs.first] <= area[pairs.second]
    keeps = np.where(first_keeps, pairs.first, pairs.second)[allowed]
    gives = np.where(first_keeps, pairs.second, pairs.first)[allowed]
    original = shapes.copy()
    for giver in np.unique(gives):
        taken = shapely.union_all(original[keeps[gives == giver]])
        shapes[giver] = without_slivers(shapely.difference(original[giver], taken), sliver_width_m)
    return shapes


def _pairs(shapes: Shapes) -> _Pairs:
    first, second = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    order = np.lexsort((second, first))
    first, second = first[order], second[order]
    ahead = first < second
    first, second = first[ahead], second[ahead]
    shared = shapely.intersection(shapes[first], shapes[second])
    area = shapely.area(shared)
    real = area > _DUST_M2
    return _Pairs(first[real], second[real], area[real], mean_width_m(shared[real]))


def _where(pairs: _Pairs, chosen: npt.NDArray[np.bool_]) -> list[tuple[int, int]]:
    return list(zip(pairs.first[chosen].tolist(), pairs.second[chosen].tolist(), strict=True))


def _refuse(
    table: pd.DataFrame,
    pairs: _Pairs,
    share: npt.NDArray[np.float64],
    refused: npt.NDArray[np.bool_],
    share_limit: float,
    notes: Notes,
) -> None:
    for (first, second), area_m2, part in zip(
        _where(pairs, refused), pairs.area_m2[refused], share[refused], strict=True
    ):
        notes.fault(
            table["label"].iloc[second],
            f"overlaps {table['label'].iloc[first]}",
            found=f"{area_text(area_m2)}, {100 * part:.0f} % of the smaller",
            expected=f"at most {100 * share_limit:g} %",
            remedy="draw the fence between them once; cut an inner paddock out of the outer one",
        )


def _report(
    table: pd.DataFrame,
    pairs: _Pairs,
    allowed: npt.NDArray[np.bool_],
    sliver_width_m: float,
    notes: Notes,
) -> None:
    """Report wide overlaps one by one, and the narrow ones of drawing error together."""
    names, labels = table["name"].to_numpy(), table["label"].to_numpy()
    area = shapely.area(table["geometry"].to_numpy())
    wide = allowed & (pairs.width_m > sliver_width_m)
    for (first, second), shared_m2 in zip(_where(pairs, wide), pairs.area_m2[wide], strict=True):
        keeper = first if area[first] <= area[second] else second
        notes.repairs.append(
            words(
                "data.overlaps.smaller_keeps_overlap",
                labels=labels[second],
                other=names[first],
                area_text=area_text(shared_m2),
                smaller=names[keeper],
            )
        )
    narrow = np.flatnonzero(allowed & ~wide)
    if narrow.size:
        widest_first = narrow[np.argsort(-pairs.area_m2[narrow], kind="stable")]
        spelled = (
            words(
                "data.overlaps.pair_with_area",
                first=names[pairs.first[i]],
                second=names[pairs.second[i]],
                area_text=area_text(pairs.area_m2[i]),
            )
            for i in widest_first
        )
        notes.repairs.append(
            words(
                "data.overlaps.narrow_overlaps",
                label=table.attrs["label"],
                count=narrow.size,
                sliver_width_m=sliver_width_m,
                area_text=area_text(pairs.area_m2[narrow].sum()),
                listed=listed(spelled),
            )
        )
