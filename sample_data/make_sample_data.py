"""Make the files of Harrowmere, an invented hill holding, from `drawing.toml` and the hill below.

Nothing here was traced or surveyed. The place lies on a plain hillside of upland Britain only so
that its coordinates, heights and CRS behave as real ones do. Run from any folder::

    python sample_data/make_sample_data.py [FOLDER]

Coordinates in the drawing are metres east and north of `CORNER`, in EPSG:27700.
"""

from __future__ import annotations

import json
import sys
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import rasterio
import shapely
from pyproj import Transformer
from rasterio import Affine
from scipy.interpolate import CubicSpline
from shapely.geometry import LineString, Point, Polygon, mapping
from shapely.geometry.base import BaseGeometry
from shapely.geometry.polygon import orient

FloatArray = npt.NDArray[np.float64]
Points = Sequence[tuple[float, float]]

CORNER = (392700.0, 456500.0)
WIDTH_M, HEIGHT_M, POSTING_M = 1600.0, 1350.0, 5.0

# EPSG:1314 reversed: the seven-parameter shift, so that no installed grid changes the bytes.
TO_WGS84 = (
    "+proj=pipeline +step +inv +proj=tmerc +lat_0=49 +lon_0=-2 +k=0.9996012717 +x_0=400000 "
    "+y_0=-100000 +ellps=airy +step +proj=push +v_3 +step +proj=cart +ellps=airy "
    "+step +proj=helmert +x=446.448 +y=-125.157 +z=542.06 +rx=0.15 +ry=0.247 +rz=0.842 "
    "+s=-20.489 +convention=position_vector +step +inv +proj=cart +ellps=WGS84 "
    "+step +proj=pop +v_3 +step +proj=unitconvert +xy_in=rad +xy_out=deg"
)

DRAWING = tomllib.loads((Path(__file__).parent / "drawing.toml").read_text("utf-8"))


def make_sample_data(folder: Path) -> None:
    """Write every file of the holding, the project file apart, into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    lanes = {name: _curve(points) for name, points in DRAWING["lanes"].items()}
    streams = {name: _curve(points) for name, points in DRAWING["streams"].items()}
    keep_out = {name: _outline(corners) for name, corners in DRAWING["keep_out"].items()}
    fields = _spoil(_fields(lanes, [keep_out["Gill Wood"], keep_out["Yard"]]))
    boundaries = shapely.union_all([field.boundary for field in fields.values()])
    gates = {name: _nearest(boundaries, place) for name, place in DRAWING["gates"].items()}
    for file, features in {
        "paddocks": fields,
        "keep_out": keep_out,
        "tracks": lanes,
        "watercourses": streams,
        "gates": gates,
    }.items():
        _write_geojson(folder / f"{file}.geojson", features)
    _write_terrain(folder / "terrain.tif", terrain_m(streams["Harrow Sike"]))


def _curve(points: Points, step_m: float = 9.0, wobble_m: float = 0.7) -> LineString:
    """Draw a line through the points as a wall runs: a smooth course, never quite even."""
    knots = np.array(points, float)
    along = np.concatenate([[0], np.hypot(*np.diff(knots, axis=0).T).cumsum()])
    at = np.linspace(0, along[-1], max(2, round(along[-1] / step_m) + 1))
    # Between a straight chord and a spline: walls bend at their corners and bow in between.
    chord = np.column_stack([np.interp(at, along, knots[:, axis]) for axis in (0, 1)])
    course = 0.45 * chord + 0.55 * CubicSpline(along, knots)(at)
    fade = np.sin(np.pi * at / along[-1])
    uneven = wobble_m * fade * (np.sin(at / 23.0 + knots[0, 0]) + np.sin(at / 9.7 + knots[0, 1]))
    course = course + uneven[:, None] * np.array([0.6, 0.8])
    return LineString(course).simplify(0.25)


def _outline(corners: Points) -> Polygon:
    return Polygon(corners).buffer(6).buffer(-12).buffer(6).simplify(0.4)


def _fields(lanes: Mapping[str, LineString], taken: list[Polygon]) -> dict[str, Polygon]:
    """Cut the hillside into fields along walls, lanes, wood and yard."""
    walls = [_curve(points) for points in DRAWING["walls"].values()]
    lines = [*walls, *lanes.values(), *(place.exterior for place in taken)]
    faces = shapely.get_parts(shapely.polygonize([shapely.union_all(lines)]))
    verges = shapely.union_all([lanes["Low Lane"].buffer(5.0), lanes["Nab Lane"].buffer(3.5)])
    open_ground = [
        face
        for face in faces
        if not any(place.contains(face.point_on_surface()) for place in taken)
    ]
    fields = {}
    for name, place in DRAWING["fields"].items():
        (face,) = [face for face in open_ground if face.contains(Point(place))]
        fields[name] = max(shapely.get_parts(face.difference(verges)), key=lambda part: part.area)
    return fields


def _spoil(fields: Mapping[str, Polygon]) -> dict[str, Polygon]:
    """Add the flaws that real boundary files have."""
    spoilt = dict(fields)
    # Centimetres: one field was digitised again, a little to the side.
    spoilt["Kiln Close"] = shapely.affinity.translate(fields["Kiln Close"], 0.04, -0.03)
    # A sliver: one field was drawn over the line into its neighbour.
    shared = fields["Whin Bank"].boundary.intersection(fields["Moor Intake"].boundary)
    strip = shapely.line_merge(shared).segmentize(20).buffer(0.35, cap_style="flat")
    over = strip.intersection(fields["Moor Intake"])
    spoilt["Whin Bank"] = max(
        shapely.get_parts(fields["Whin Bank"].union(over)), key=lambda part: part.area
    )
    # A gap: a double fence along one march, drawn on both sides.
    march = fields["Road Piece"].boundary.intersection(fields["Beck Holme"].boundary)
    gap = shapely.line_merge(march).buffer(1.5, cap_style="square")
    spoilt["Road Piece"] = max(
        shapely.get_parts(fields["Road Piece"].difference(gap)), key=lambda part: part.area
    )
    return spoilt


def _nearest(boundaries: BaseGeometry, place: tuple[float, float]) -> Point:
    return shapely.get_point(shapely.shortest_line(boundaries, Point(place)), 0)


def terrain_m(stream: LineString) -> FloatArray:
    """Return ground heights [m] at the cell centres, north row first."""
    east, north = np.meshgrid(
        np.arange(POSTING_M / 2, WIDTH_M, POSTING_M),
        np.arange(HEIGHT_M - POSTING_M / 2, 0, -POSTING_M),
    )
    places = shapely.points(east, north)
    away_m = shapely.distance(places, stream)
    hill = _hill_m(east, north) - _valley_m(away_m, north)
    bed = _bed_m(stream, shapely.line_locate_point(stream, places))
    bank_width_m = 34 + 14 * np.sin(north / 97.0) + 22 * _smoothstep(north, 380, 620)
    share = _smoothstep(away_m, 3.0, bank_width_m)
    banks = bed + 0.04 * away_m
    return np.asarray(np.round((1 - share) * banks + share * hill, 2), float)


def _hill_m(east: FloatArray, north: FloatArray) -> FloatArray:
    """Return the hillside before the valley was cut: slope, benches, knolls, roughness."""
    slope = np.interp(
        np.arange(0, 1501, 10.0),
        [0, 200, 420, 620, 800, 1000, 1150, 1350, 1500],
        [154, 165, 180, 200, 221, 237, 249, 258, 266],
    )
    slope = np.convolve(np.pad(slope, 8, "reflect", reflect_type="odd"), np.ones(17) / 17, "valid")
    tilted = north + 0.05 * (east - 800) + 45 * np.sin(east / 190.0 + 0.9)
    height = np.interp(tilted, np.arange(0, 1501, 10.0), slope)
    height += 1.6 * np.sin(2 * np.pi * height / 21.0 + east / 260.0)
    for rise_m, x, y, long_m, broad_m in (
        (13.0, 470, 815, 120, 70),  # the nab
        (-7.0, 590, 960, 130, 75),  # the wet hollow behind it
        (8.5, 1250, 560, 110, 85),  # the hagg
        (-5.0, 1205, 745, 90, 60),
        (7.0, 760, 1010, 90, 70),
        (4.0, 560, 500, 70, 60),
        (-4.5, 395, 640, 80, 55),
        (-5.5, 490, 962, 26, 22),  # the quarry
        (5.0, 1330, 960, 90, 110),
    ):
        height += rise_m * np.exp(-(((east - x) / long_m) ** 2) - ((north - y) / broad_m) ** 2)
    return height + _roughness_m(east, north)


def _valley_m(away_m: FloatArray, north: FloatArray) -> FloatArray:
    """Return how deep [m] the stream valley lies below the hillside, its own gully apart."""
    deep_m = 3.5 + 7.5 * np.exp(-(((north - 700) / 330) ** 2))
    return np.asarray(deep_m * np.exp(-((away_m / 130.0) ** 2)), float)


def _roughness_m(east: FloatArray, north: FloatArray) -> FloatArray:
    """Return unevenness [m] as a sum of waves whose courses turn by the golden angle."""
    total = np.zeros_like(east)
    for number in range(90):
        wavelength_m = 26.0 * 1.036**number
        course = 2.39996 * number
        phase = (east * np.cos(course) + north * np.sin(course)) / wavelength_m
        phase += 0.15 * np.sin(2 * np.pi * (east - north) / (3.1 * wavelength_m) + number)
        total += 0.00055 * wavelength_m * np.sin(2 * np.pi * phase + 1.7 * number)
    return total


def _bed_m(stream: LineString, along_m: FloatArray) -> FloatArray:
    """Return the level of the stream bed [m], which never rises downstream."""
    at = np.arange(0, stream.length + 5, 5.0)
    east, north = shapely.get_coordinates(shapely.line_interpolate_point(stream, at)).T
    ground = _hill_m(east, north) - _valley_m(np.zeros_like(at), north)
    cut_m = np.interp(at, [0, 300, 600, 900, 1200, at[-1]], [0.8, 1.5, 4, 3.5, 1.8, 1.5])
    falling = np.minimum.accumulate(ground - cut_m)
    smooth = np.convolve(np.pad(falling, 12, mode="edge"), np.ones(25) / 25, "valid")
    return np.asarray(np.interp(along_m, at, smooth - 0.002 * at), float)


def _smoothstep(value: FloatArray, low: float, high: float) -> FloatArray:
    share = np.clip((value - low) / (high - low), 0, 1)
    return np.asarray(share * share * (3 - 2 * share), float)


def _write_geojson(path: Path, features: Mapping[str, BaseGeometry]) -> None:
    """Write RFC 7946: longitude and latitude to a centimetre, outer rings anticlockwise."""
    to_wgs84 = Transformer.from_pipeline(TO_WGS84)

    def place(coordinates: FloatArray) -> FloatArray:
        lon, lat = to_wgs84.transform(*(coordinates + CORNER).T)
        return np.round(np.column_stack([lon, lat]), 7)

    rows: list[dict[str, Any]] = [
        {
            "type": "Feature",
            "properties": {"name": name},
            "geometry": mapping(_anticlockwise(shapely.transform(shape, place))),
        }
        for name, shape in features.items()
    ]
    body = ",\n".join(json.dumps(row) for row in rows)
    path.write_text(
        f'{{"type": "FeatureCollection", "features": [\n{body}\n]}}\n', encoding="utf-8"
    )


def _anticlockwise(shape: BaseGeometry) -> BaseGeometry:
    return orient(shape) if isinstance(shape, Polygon) else shape


def _write_terrain(path: Path, heights_m: FloatArray) -> None:
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        width=heights_m.shape[1],
        height=heights_m.shape[0],
        count=1,
        dtype="float32",
        nodata=-9999.0,
        crs="EPSG:27700",
        transform=Affine(POSTING_M, 0, CORNER[0], 0, -POSTING_M, CORNER[1] + HEIGHT_M),
        compress="deflate",
        zlevel=9,
        predictor=3,
    ) as raster:
        raster.write(heights_m.astype("float32"), 1)
        raster.units = ("metre",)


if __name__ == "__main__":
    make_sample_data(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
