"""Settings of the data a plan is made from: holding, terrain, paddocks, features."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from dewpond.base.settings.fields import COMMON_PRACTICE, Table, setting

HeightData = Literal[
    "lidar 1 m",
    "lidar 2 m",
    "fine raster of unknown make",
    "national terrain 5 m",
    "national terrain 10 m",
    "national terrain 30 m",
    "national terrain 50 m",
    "radar surface 30 m",
    "radar surface 90 m",
    "shuttle radar surface 30 m",
    "shuttle radar surface 90 m",
]
"""The kinds of elevation data in the table of published errors, ``data/height_error.csv``."""


class HoldingSettings(Table):
    """The holding as a whole: ``[holding]``."""

    name: str = Field(min_length=1, description="Name of the holding, printed on every result.")
    crs: str | None = setting(
        None,
        "Working CRS, projected in metres, for instance EPSG:27700; "
        "left out, the UTM zone of the holding is used.",
    )


class TerrainSettings(Table):
    """Elevation rasters and what is known of their quality: ``[terrain]``."""

    elevation: str | list[str] | None = setting(
        None,
        "Elevation raster, or several in order of preference (any GDAL format); left out only "
        "where a program hands over open rasters.",
    )
    height_unit: Literal["metre", "foot"] | None = setting(
        None,
        "Unit of the heights; needed only when the file does not say. A raster in a projected "
        "CRS in metres that does not say is taken to be in metres, with a warning.",
    )
    height_datum: str | None = setting(
        None,
        "Height datum of the raster, for instance Newlyn; compared with the level_datum "
        "of each source and with the file's own vertical CRS.",
    )
    missing_share_limit: float = setting(
        0.02,
        "Largest share of a paddock that may lie on cells without a height.",
        COMMON_PRACTICE,
        ge=0,
        le=1,
    )
    credit: str = setting("", "Credit for the elevation data, printed on the maps.")
    height_data: HeightData | None = setting(
        None,
        "Kind of elevation data, from which the size and the reach of its height errors follow; "
        "left out, a kind with large errors is taken by the posting of the raster, with a "
        "warning.",
    )
    height_standard_deviation_m: float | None = setting(
        None,
        "Standard deviation of the height error [m], where it is known better than by "
        "height_data.",
        gt=0,
    )
    correlation_length_m: float | None = setting(
        None,
        "Distance at which height errors are no longer alike, their correlation down to 5 % [m], "
        "in place of the one of height_data; without height_data, the whole error has it.",
        gt=0,
    )
    height_long_share: float | None = setting(
        None,
        "Share of the variance of the height error that is common to a whole district and so "
        "leaves heads alone, in place of the one of height_data.",
        ge=0,
        le=1,
    )
    long_correlation_length_m: float | None = setting(
        None,
        "Distance at which that common part is no longer alike, its correlation down to 5 % [m], "
        "in place of the one of height_data.",
        gt=0,
    )
    levels: str | None = setting(
        None,
        "Levels taken on site, to which the ground is corrected: a CSV table with the columns "
        "name, easting, northing (or lon, lat), level and, if wanted, deviation and note, or a "
        "GPX file of waypoints with heights.",
    )
    levels_crs: str | None = setting(
        None,
        "CRS of easting and northing in the table of levels; left out, the working CRS, which the "
        "table of points to level is written in.",
    )
    levels_unit: Literal["metre", "foot"] = setting(
        "metre", "Unit of the levels and their deviations in the table; GPX is always in metres."
    )
    levels_datum: str | None = setting(
        None,
        "Height datum of the levels; compared with those of the elevation and the sources.",
    )
    levels_deviation_m: float | None = setting(
        None,
        "Standard deviation of a level taken on site [m], where the table does not give it; left "
        "out, 0.05 for a table; a GPX file needs it, since a hand-held receiver's own heights "
        "may be metres out.",
        COMMON_PRACTICE,
        ge=0,
        le=20,
    )


class VectorFile(Table):
    """A vector file with the layer to read from it."""

    path: str = Field(description="Vector file (any OGR format), relative to the project file.")
    layer: str | None = setting(None, "Layer, when the file holds several.")


class PaddocksSettings(Table):
    """Paddock boundaries: ``[paddocks]``."""

    boundaries: str | None = setting(
        None,
        "Polygon file of paddocks (any OGR format); left out only where a program hands over "
        "a table.",
    )
    layer: str | None = setting(None, "Layer, when the file holds several.")
    name_field: str = setting("name", "Field that names each paddock.")
    tenure_field: str | None = setting(
        None,
        "Field that says what may be built on each paddock: owned, rented, portable (nothing "
        "buried or fixed) or wayleave (as portable, and pipe pays a wayleave); left out or empty, "
        "owned.",
    )
    parcel_field: str | None = setting(
        None,
        "Field with the land registry or payment identifier of each paddock's parcel, carried to "
        "every output.",
    )
    sliver_width_m: float = setting(
        1.0,
        "Polygons and overlaps narrower than this on average are drawing errors, "
        "removed and reported.",
        COMMON_PRACTICE,
        ge=0,
    )
    overlap_share_limit: float = setting(
        0.10,
        "Largest share of the smaller of two paddocks that both may claim; up to it the smaller "
        "keeps the ground and this is reported, beyond it the map is refused.",
        COMMON_PRACTICE,
        ge=0,
        le=1,
    )
    gap_width_m: float = setting(
        3.0,
        "Neighbouring boundaries closer than this stand for one shared fence.",
        COMMON_PRACTICE,
        ge=0,
    )
    credit: str = setting("", "Credit for the boundary data, printed on the maps.")


class FeaturesSettings(Table):
    """Optional vectors around the paddocks: ``[features]``; each a path or a path with a layer."""

    keep_out: str | VectorFile | None = setting(
        None, "Polygons where stock, outlets and pipe may not go: woods, ponds, yards."
    )
    tracks: str | VectorFile | None = setting(
        None, "Lines or polygons of lanes and tracks; pipe may follow or cross them."
    )
    watercourses: str | VectorFile | None = setting(
        None, "Lines or polygons of streams and ditches; pipe crosses at a price."
    )
    gates: str | VectorFile | None = setting(None, "Points of gateways, kept clear of outlets.")
    existing_pipe: str | VectorFile | None = setting(
        None,
        "Lines of pipe already in the ground, followed at no cost; fields outside_diameter_mm and "
        "condition (good, fair; poor is not used again) are read where they are there.",
    )
    existing_outlets: str | VectorFile | None = setting(
        None,
        "Points of outlets already there, used again at no cost where they help; field condition "
        "as for existing_pipe.",
    )
    fixed_outlets: str | VectorFile | None = setting(
        None, "Points where an outlet must stand, whatever the rules of [siting]."
    )
    spine: str | VectorFile | None = setting(
        None, "Lines that carry an outlet at every [layout] spine_spacing_m; pipe may follow them."
    )
    forbidden_ground: str | VectorFile | None = setting(
        None, "Polygons that stock may graze, but where neither outlet nor pipe may go."
    )
    preferred_ground: str | VectorFile | None = setting(
        None, "Polygons where outlets are preferred, by [layout] preference."
    )
