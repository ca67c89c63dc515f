"""The points to set out as GPX 1.1: waypoints, and each pipe as a track."""

from __future__ import annotations

import math
from xml.etree import ElementTree as ET

import pandas as pd

from dewpond.base.cells import one_line
from dewpond.base.measures import Measures
from dewpond.base.model import Plan
from dewpond.base.words import words
from dewpond.outputs.site.points import SitePoints

NAMESPACE = "http://www.topografix.com/GPX/1/1"
_SCHEMA = "http://www.topografix.com/GPX/1/1/gpx.xsd"
_INSTANCE = "http://www.w3.org/2001/XMLSchema-instance"


def gpx_text(plan: Plan, site: SitePoints) -> str:
    """Return the points as GPX 1.1, longitude and latitude on WGS 84, elevation in metres.

    Outlets, source, tank, pump, junctions and fittings are waypoints; each pipe is a track with
    a point at its ends, its bends and every chainage mark. Elevations are metres whatever the
    documents print, as GPX has it, and the ground level of the plan: each says so in ``src``.

    Parameters
    ----------
    plan : Plan
    site : SitePoints
        From `site_points` of the same plan.
    """
    root = ET.Element(
        "gpx",
        {
            "xmlns": NAMESPACE,
            "xmlns:xsi": _INSTANCE,
            "xsi:schemaLocation": f"{NAMESPACE} {_SCHEMA}",
            "version": "1.1",
            "creator": f"dewpond {plan.versions.get('dewpond', '')}".strip(),
        },
    )
    _write_metadata(root, plan, site)
    along = site.points["kind"].str.startswith("pipe ").to_numpy(bool)
    for _, row in site.points[~along].iterrows():
        _write_point(root, "wpt", row, whole=True)
    for pipe, rows in site.points[along].groupby("pipe", sort=False):
        _write_track(root, plan, str(pipe), rows)
    ET.indent(root, " ")
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(root, encoding="unicode") + "\n"
    )


def _write_metadata(root: ET.Element, plan: Plan, site: SitePoints) -> None:
    points = site.points
    terrain = plan.project.terrain
    datum = one_line(terrain.height_datum or "") if terrain else ""
    metadata = ET.SubElement(root, "metadata")
    _text(metadata, "name", words("site.title", holding=one_line(plan.holding.name)))
    accuracy = site.degrees_accuracy_m
    exact = f"{accuracy:g}" if math.isfinite(accuracy) and accuracy > 0 else ""
    _text(metadata, "desc", words("site.description", datum=datum, crs=site.crs, accuracy=exact))
    if len(points):
        longitude, latitude = points["longitude"], points["latitude"]
        ET.SubElement(
            metadata,
            "bounds",
            {
                "minlat": f"{latitude.min():.8f}",
                "minlon": f"{longitude.min():.8f}",
                "maxlat": f"{latitude.max():.8f}",
                "maxlon": f"{longitude.max():.8f}",
            },
        )


def _write_track(root: ET.Element, plan: Plan, pipe: str, rows: pd.DataFrame) -> None:
    track = ET.SubElement(root, "trk")
    _text(track, "name", pipe)
    _text(track, "desc", _describe(plan, pipe))
    _text(track, "src", words("site.level_source"))
    _text(track, "type", "pipe")
    segment = ET.SubElement(track, "trkseg")
    for _, row in rows.iterrows():
        _write_point(segment, "trkpt", row, whole=False)


def _describe(plan: Plan, pipe: str) -> str:
    measures = Measures(plan.project.documents.units)
    row = plan.network.pipes.loc[pipe]
    values = {"length": measures.text("length", float(row["length_m"])), "laying": row["laying"]}
    sizes = plan.scheme.sizes.pipes
    size = float(sizes.at[pipe, "outside_diameter_mm"]) if pipe in sizes.index else math.nan
    if not math.isfinite(size):
        return words("site.track", **values)
    material = one_line(str(sizes.at[pipe, "material"]))
    return words("site.track_sized", **values, size=f"{size:g}", material=material)


def _write_point(parent: ET.Element, tag: str, row: pd.Series, *, whole: bool) -> None:
    """Write a point; its parts stand in the order that the schema asks for."""
    place = {"lat": f"{row['latitude']:.8f}", "lon": f"{row['longitude']:.8f}"}
    point = ET.SubElement(parent, tag, place)
    if math.isfinite(row["ground_level_m"]):
        _text(point, "ele", f"{row['ground_level_m']:.2f}")
    _text(point, "name", row["name"])
    if whole:
        _text(point, "desc", row["notes"])
        _text(point, "src", words("site.level_source"))
    _text(point, "type", row["kind"])


def _text(parent: ET.Element, tag: str, text: str) -> None:
    if text:
        ET.SubElement(parent, tag).text = text
