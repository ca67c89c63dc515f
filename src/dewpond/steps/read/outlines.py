"""Outlines of single polygons made valid, flat and free of slivers."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely

from dewpond.base.words import words
from dewpond.steps.read.notes import Notes, area_text

UNCLEAR_SHARE = 0.05
"""Share by which repair may change the drawn area before nobody can tell what was meant;
common practice, no source."""

Shape = Any  # shapely.Geometry; shapely carries no types


def polygons_of(shape: Shape) -> list[Shape]:
    """Return the polygons within a geometry of any kind, empty ones left out."""
    parts = shapely.get_parts(shape)
    while (shapely.get_type_id(parts) > shapely.GeometryType.POLYGON).any():
        parts = shapely.get_parts(parts)
    kept = (shapely.get_type_id(parts) == shapely.GeometryType.POLYGON) & ~shapely.is_empty(parts)
    return list(parts[kept])


def mean_width_m(shapes: Any) -> Any:
    """Return twice the area over the perimeter: the width of a long strip.

    >>> strip = shapely.box(0, 0, 200, 1)
    >>> round(float(mean_width_m(strip)), 2)
    1.0
    """
    length = shapely.length(shapes)
    return np.divide(2 * shapely.area(shapes), length, out=np.zeros_like(length), where=length > 0)


def mend(shape: Shape, label: str, sliver_width_m: float, notes: Notes) -> Shape | None:
    """Return a valid outline without slivers; None where nothing usable is left.

    A part is beyond repair, a fault, where the area after repair and the area as drawn (by the
    shoelace formula, in which the lobes of a crossed outline cancel) differ by more than
    `UNCLEAR_SHARE`: a small loop at a corner passes, a figure of eight does not.
    """
    parts = []
    for part in polygons_of(shape):
        if shapely.is_valid(part):
            parts.append(part)
            continue
        whole = _repaired(part, label, notes)
        if whole is None:
            return None
        parts.extend(whole)
    return _tidy(_joined(parts, label, notes), label, sliver_width_m, notes)


def without_slivers(shape: Shape, sliver_width_m: float) -> Shape:
    """Return the shape less the parts and holes narrower on average than a width."""
    parts = []
    for part in polygons_of(shape):
        shell = shapely.polygons(shapely.get_exterior_ring(part))
        if mean_width_m(shell) < sliver_width_m:
            continue
        holes = [shapely.polygons(ring) for ring in part.interiors]
        kept = [hole.exterior for hole in holes if mean_width_m(hole) >= sliver_width_m]
        if len(kept) < len(holes):
            part = shapely.polygons(shell.exterior, kept) if kept else shell
        parts.append(part)
    return together(parts)


def together(parts: list[Shape]) -> Shape:
    """Return one Polygon for one part, a MultiPolygon for several, an empty one for none."""
    if len(parts) == 1:
        return parts[0]
    return shapely.multipolygons(parts) if parts else shapely.Polygon()


def _repaired(part: Shape, label: str, notes: Notes) -> list[Shape] | None:
    reason = str(shapely.is_valid_reason(part)).replace("[", " at (").replace("]", ")")
    drawn_m2 = float(shapely.area(part))
    pieces = polygons_of(shapely.make_valid(part))
    repaired_m2 = float(sum(piece.area for piece in pieces))
    if abs(repaired_m2 - drawn_m2) > UNCLEAR_SHARE * max(repaired_m2, drawn_m2, 1e-9):
        notes.fault(
            label,
            "has an outline that crosses itself beyond repair",
            found=f"{reason}; {area_text(drawn_m2)} as drawn, {area_text(repaired_m2)} by its "
            "outer edges",
            expected=f"two areas that agree within {100 * UNCLEAR_SHARE:g} %",
            remedy="draw the outline again, corner after corner in one direction",
        )
        return None
    if not pieces:
        notes.fault(label, "has no area", found=reason, remedy="draw the outline again")
        return None
    notes.repairs.append(
        words(
            "data.outlines.made_valid",
            label=label,
            reason=reason,
            area=area_text(repaired_m2),
            drawn_area=area_text(drawn_m2),
        )
    )
    return pieces


def _joined(parts: list[Shape], label: str, notes: Notes) -> Shape:
    shape = together(parts)
    if len(parts) < 2 or shapely.is_valid(shape):
        return shape
    merged = shapely.union_all(parts)
    lost_m2 = sum(part.area for part in parts) - merged.area
    notes.repairs.append(
        words(
            "data.outlines.parts_joined",
            label=label,
            area_text=area_text(max(lost_m2, 0.0)),
        )
    )
    return merged


def _tidy(shape: Shape, label: str, sliver_width_m: float, notes: Notes) -> Shape | None:
    tidy = without_slivers(shape, sliver_width_m)
    changed_m2 = float(shapely.area(shapely.symmetric_difference(shape, tidy)))
    if tidy.is_empty:
        notes.repairs.append(
            words(
                "data.outlines.sliver_left_out",
                label=label,
                area_text=area_text(shape.area),
                sliver_width_m=sliver_width_m,
            )
        )
        return None
    if changed_m2 > 0:
        notes.repairs.append(
            words(
                "data.outlines.slivers_removed",
                label=label,
                sliver_width_m=sliver_width_m,
                area_text=area_text(changed_m2),
            )
        )
    return tidy
