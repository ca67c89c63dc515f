"""Everything the map of the page shows, as paths and places ready for its template."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from dewpond.base.model import Plan
from dewpond.outputs.proposal.sitemap import names
from dewpond.outputs.proposal.sitemap.frame import Frame, Layers, frame_of
from dewpond.outputs.proposal.sitemap.relief import Relief, draw_relief
from dewpond.outputs.proposal.sitemap.walks import Band, draw_walks

ON_PIPE = (
    "air_valve", "washout", "drain", "stop_valve", "meter", "break_tank", "reducing_valve",
)  # fmt: skip
_THINNEST_PX, _THICKEST_PX, _ONLY_PX = 1.8, 5.0, 3.2
_BAR_WIDTH, _BAR_HEIGHT = 0.32, 0.12
"""Share of the map that a scale bar takes up in its corner, the symbols beside it included."""
_SURROUNDINGS = ("keep_out", "tracks", "watercourses")


@dataclass(frozen=True)
class SiteMap:
    """What the map shows; places and paths in the units of its frame.

    Attributes
    ----------
    frame : Frame
    relief : Relief
    bands : list of Band
    surroundings : mapping of str to str
        Path of keep-outs, tracks and watercourses.
    gates : list of (float, float)
    uncovered : str
    paddocks, pipes, outlets, sources : list of mapping
        One for each row of the layer, in its order: ``number`` (row), ``name``, ``path`` or
        ``at``; pipes have ``width_px``, ``old`` and ``size_mm``, outlets ``number_text`` and
        ``state``, sources ``used``.
    sizes : list of mapping
        Pipe sizes for the key: ``size_mm`` (None where there is none), ``width_px``, ``old``.
    marks : mapping of str to list of mapping
        By kind, things on the pipe: ``name``, ``at``, ``aside`` (in steps).
    tanks, pumps : list of mapping
    levels : list of mapping
        Spots to level first, best first; none where confidence was not asked.
    breaks : mapping
        ``outlines`` and ``hoses`` as paths; empty without breaks.
    labels : list of mapping
        What the page writes where there is room, most important first: ``kind``, ``texts``
        (best first), ``places``, and for a paddock ``of`` (id of its outline).
    bar_on_right : bool
        Whether the scale bar stands in the lower right corner, not the lower left.
    """

    frame: Frame
    relief: Relief
    bands: list[Band]
    surroundings: Mapping[str, str]
    gates: list[tuple[float, float]]
    uncovered: str
    paddocks: list[dict[str, Any]]
    pipes: list[dict[str, Any]]
    outlets: list[dict[str, Any]]
    sources: list[dict[str, Any]]
    sizes: list[dict[str, Any]]
    marks: Mapping[str, list[dict[str, Any]]]
    tanks: list[dict[str, Any]]
    pumps: list[dict[str, Any]]
    levels: list[dict[str, Any]]
    breaks: Mapping[str, str]
    labels: list[dict[str, Any]]
    bar_on_right: bool


def draw_site_map(plan: Plan, layers: Layers, unit_m: float = 1.0) -> SiteMap:
    """Return the map of a plan.

    Parameters
    ----------
    plan : Plan
    layers : mapping of str to GeoDataFrame
        Features of the plan by kind, in its working CRS.
    unit_m : float, default 1.0
        Length of the unit in which contours and walks are round [m].
    """
    frame = frame_of(layers)
    relief = draw_relief(plan.holding.surface, frame, unit_m)
    features = plan.holding.features
    pipes, sizes = _pipes(layers["pipe"], frame)
    return SiteMap(
        frame=frame,
        relief=relief,
        bands=draw_walks(plan, frame, unit_m),
        surroundings={name: _joined(getattr(features, name), frame) for name in _SURROUNDINGS},
        gates=_seen_points(features.gates, frame),
        uncovered=_joined(layers["uncovered"], frame),
        paddocks=[
            {"number": i, "name": row["name"], "path": frame.path(row.geometry)}
            for i, row in layers["paddock"].iterrows()
        ],
        pipes=pipes,
        outlets=[_outlet(int(str(i)), row, frame) for i, row in layers["outlet"].iterrows()],
        sources=_sources(layers["source"], frame),
        sizes=sizes,
        marks={kind: _marks(layers[kind], layers["pipe"], frame) for kind in ON_PIPE},
        tanks=_at(layers["tank"], frame),
        pumps=_at(layers["pump"], frame),
        levels=_at(layers["survey_point"], frame) if "survey_point" in layers else [],
        breaks={
            "outlines": _joined(layers["break"], frame) if "break" in layers else "",
            "hoses": _joined(layers["hose"], frame) if "hose" in layers else "",
        },
        labels=_labels(layers, relief, frame),
        bar_on_right=_crowded(layers, frame, left=True) > _crowded(layers, frame, left=False),
    )


def _crowded(layers: Layers, frame: Frame, *, left: bool) -> int:
    """Return how many outlets and sources stand in a lower corner, where a scale bar would."""
    west, south, east, north = frame.extent_m
    width, height = _BAR_WIDTH * (east - west), _BAR_HEIGHT * (north - south)
    start = west if left else east - width
    corner = shapely.box(start, south, start + width, south + height)
    return sum(int(layers[kind].within(corner).sum()) for kind in ("outlet", "source"))


def _joined(table: gpd.GeoDataFrame, frame: Frame) -> str:
    """Return all shapes of a table that the map shows, as one path."""
    if not len(table):
        return ""
    shapes = table.geometry.intersection(frame.shape)
    return "".join(frame.path(shape) for shape in shapes if not shape.is_empty)


def _seen_points(table: gpd.GeoDataFrame, frame: Frame) -> list[tuple[float, float]]:
    points = [p for p in table.geometry if p.geom_type == "Point" and p.within(frame.shape)]
    return [frame.place(point.x, point.y) for point in points]


def _pipes(
    pipes: gpd.GeoDataFrame, frame: Frame
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Return pipe with its width on the map, the larger the wider, and what the key tells."""
    sizes = pipes["outside_diameter_mm"].to_numpy(float)
    old = (pipes["laying"] == "existing").to_numpy(bool)
    present = np.unique(sizes[np.isfinite(sizes)])
    widths = np.linspace(_THINNEST_PX, _THICKEST_PX, len(present)).round(2)
    if len(present) == 1:
        widths = np.array([_ONLY_PX])
    width_of = dict(zip(present.tolist(), widths.tolist(), strict=True))
    drawn = [
        {
            "number": i,
            "name": pipes["name"].iloc[i],
            "path": frame.path(pipes.geometry.iloc[i]),
            "size_mm": float(sizes[i]) if np.isfinite(sizes[i]) else None,
            "width_px": width_of.get(float(sizes[i]), 2.2),
            "old": bool(old[i]),
        }
        for i in range(len(pipes))
    ]
    seen = {(p["size_mm"] or np.inf, p["old"]): p for p in drawn}
    return drawn, [seen[key] for key in sorted(seen)]


def _outlet(number: int, row: Any, frame: Frame) -> dict[str, Any]:
    state = "served" if row["served"] else "short" if np.isfinite(row["static_head_m"]) else "dry"
    return {
        "number": number,
        "name": row["name"],
        "number_text": str(row["name"]).rsplit(" ", 1)[-1],
        "at": frame.place(row.geometry.x, row.geometry.y),
        "state": state,
    }


def _sources(sources: gpd.GeoDataFrame, frame: Frame) -> list[dict[str, Any]]:
    return [
        {
            "name": row["name"],
            "at": frame.place(row.geometry.x, row.geometry.y),
            "used": bool(row["feeds_scheme"]),
        }
        for _, row in sources.iterrows()
        if row.geometry.within(frame.shape)
    ]


def _marks(table: gpd.GeoDataFrame, pipes: gpd.GeoDataFrame, frame: Frame) -> list[dict[str, Any]]:
    asides = names.steps_aside(list(table.geometry), list(table["pipe"]), pipes)
    return [
        {**mark, "aside": aside} for mark, aside in zip(_at(table, frame), asides, strict=True)
    ]


def _at(table: gpd.GeoDataFrame, frame: Frame) -> list[dict[str, Any]]:
    return [
        {"name": name, "at": frame.place(point.x, point.y)}
        for name, point in zip(table["name"], table.geometry, strict=True)
    ]


def _labels(layers: Layers, relief: Relief, frame: Frame) -> list[dict[str, Any]]:
    """Return what may be written on the map: sources, paddocks, pipe, contours, in that order."""
    labels: list[dict[str, Any]] = [
        {"kind": "source", "texts": [names.short(source["name"])], "places": [source["at"]]}
        for source in _sources(layers["source"], frame)
    ]
    paddocks, pipes = layers["paddock"], layers["pipe"]
    laid = shapely.union_all(list(pipes.geometry)) if len(pipes) else shapely.MultiLineString()
    for i in np.argsort(-paddocks["area_ha"].to_numpy(float), kind="stable"):
        shape, name = paddocks.geometry.iloc[i], str(paddocks["name"].iloc[i])
        labels.append({
            "kind": "paddock",
            "texts": [names.short(name)],
            "places": names.inside(shape, laid, frame),
            "of": f"paddock-{i}",
        })  # fmt: skip
    for i in np.argsort(-pipes.geometry.length.to_numpy(float), kind="stable"):
        size = float(pipes["outside_diameter_mm"].iloc[i])
        name = str(pipes["name"].iloc[i])
        labels.append({
            "kind": "pipe",
            "texts": [f"{name}, {size:g} mm", f"{size:g} mm"] if np.isfinite(size) else [name],
            "places": names.along(pipes.geometry.iloc[i], frame),
            "of": f"pipe-{i}",
        })  # fmt: skip
    labels += [
        {"kind": "contour", "texts": [f"{level:g}"], "places": places}
        for level, _, places in relief.contours
    ]
    return labels
