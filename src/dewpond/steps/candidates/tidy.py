"""Loose ends of merging: junctions a step apart become one, and lines drawn twice go."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from dewpond.steps.candidates.linework import stretch

Ends = tuple[tuple[float, float], tuple[float, float]]


def merge_junctions(
    lines: Sequence[shapely.LineString], owners: Sequence[int], apart_m: float
) -> tuple[list[shapely.LineString], list[int]]:
    """Return lines with junctions that a line shorter than a distance joins made one.

    The junction met first stays where it is and the other comes to it, never by more than that
    distance, so that four paddocks drawn a little out of true still meet in one point.
    """
    home: dict[tuple[float, float], tuple[float, float]] = {}
    for line in lines:
        for end in _ends(line):
            home.setdefault(end, end)
    short = [line.length < apart_m and not line.is_closed for line in lines]
    order = {node: number for number, node in enumerate(home)}
    for line in (line for line, is_short in zip(lines, short, strict=True) if is_short):
        first, second = sorted((home[end] for end in _ends(line)), key=order.__getitem__)
        moved = [node for node, at in home.items() if at == second]
        if all(np.hypot(x - first[0], y - first[1]) <= apart_m for x, y in moved):
            home.update(dict.fromkeys(moved, first))
    kept = [
        (_with_ends(line, (home[start], home[end]), apart_m), owner)
        for line, owner, is_short in zip(lines, owners, short, strict=True)
        for start, end in [_ends(line)]
        if not (is_short and home[start] == home[end])
    ]
    return [line for line, _ in kept], [owner for _, owner in kept]


def drop_doubles(
    lines: Sequence[shapely.LineString],
    owners: Sequence[int],
    longest_m: float,
    apart_m: float,
) -> tuple[list[shapely.LineString], list[int]]:
    """Return lines without the later of any two that join the same nodes side by side.

    Only lines up to a length go: two long ones with a strip between them are two fences.
    """
    groups: dict[frozenset[tuple[float, float]], list[int]] = {}
    kept: list[int] = []
    for number, line in enumerate(lines):
        same = groups.setdefault(frozenset(_ends(line)), [])
        if line.length <= longest_m and any(
            shapely.hausdorff_distance(line, lines[other]) <= apart_m for other in same
        ):
            continue
        same.append(number)
        kept.append(number)
    return [lines[number] for number in kept], [owners[number] for number in kept]


def _ends(line: shapely.LineString) -> Ends:
    first, last = line.coords[0], line.coords[-1]
    return (first[0], first[1]), (last[0], last[1])


def _with_ends(line: shapely.LineString, ends: Ends, bend_m: float) -> shapely.LineString:
    """Return a line led to new ends, bent only over its outermost metres where it is long."""
    if ends == _ends(line):
        return line
    vertices = shapely.get_coordinates(line)
    if line.length > 3 * bend_m:
        moved = [new != old for new, old in zip(ends, _ends(line), strict=True)]
        vertices = stretch(line, bend_m * moved[0], line.length - bend_m * moved[1])
        inner = slice(None if moved[0] else 1, None if moved[1] else -1)
        vertices = np.vstack([ends[0], vertices[inner], ends[1]])
    vertices[0], vertices[-1] = ends
    keep = np.r_[True, np.any(np.diff(vertices, axis=0) != 0, axis=1)]
    return shapely.LineString(vertices[keep])
