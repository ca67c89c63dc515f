"""The metric CRS that all lengths are taken in, checked at the holding itself."""

from __future__ import annotations

import numpy as np
import pyproj
from pyproj.exceptions import CRSError

from dewpond.base.surface import transformer
from dewpond.base.words import words
from dewpond.steps.read.notes import Notes
from dewpond.steps.read.vectors import Bounds

LARGEST_SCALE_ERROR = 0.001
"""Share by which a length may differ from the length on the ellipsoid."""

_EQUAL_AREA = ("equal area", "equal earth", "mollweide", "sinusoidal", "eckert", "goode", "bonne")
_ROUGH_SHIFT_M = 5.0
_WHERE = "[holding], crs"
_REMEDY = "leave crs out to use the UTM zone of the holding, or give a local projected CRS"


def choose_crs(wanted: str | None, lon_lat: Bounds, notes: Notes) -> pyproj.CRS:
    """Return the CRS of the project file if lengths in it are true, else a local one.

    A CRS that will not do is a fault; the local one then stands in, so that reading can go on
    and find the other faults.

    Parameters
    ----------
    wanted : str or None
        What the project file says.
    lon_lat : tuple of float
        West, south, east, north of the paddocks [degrees].
    notes : Notes
    """
    if wanted is not None:
        crs = _given(wanted, lon_lat, notes)
        if crs is not None:
            return crs
    return local_crs(lon_lat)


def local_crs(lon_lat: Bounds) -> pyproj.CRS:
    """Return the UTM zone of an extent, or a transverse Mercator of its own where UTM strays.

    At the equator UTM reaches a scale error of 0.1 % at the edge of its zone, so a holding
    that straddles the edge there is given the projection centred on itself.
    """
    west, south, east, north = lon_lat
    longitude, latitude = (west + east) / 2, (south + north) / 2
    zone = int((longitude + 180) // 6) % 60 + 1
    crs = pyproj.CRS.from_epsg((32600 if latitude >= 0 else 32700) + zone)
    if scale_error(crs, lon_lat) <= LARGEST_SCALE_ERROR:
        return crs
    return pyproj.CRS.from_proj4(
        words("data.working_crs.local_transverse_mercator", latitude=latitude, longitude=longitude)
    )


def scale_error(crs: pyproj.CRS, lon_lat: Bounds) -> float:
    """Return the largest share by which a length is false, any direction, over an extent.

    Taken from the axes of Tissot's indicatrix (PROJ) at the corners, the edges' middles and
    the centre.
    """
    west, south, east, north = lon_lat
    longitude, latitude = np.meshgrid(
        [west, (west + east) / 2, east], [south, (south + north) / 2, north]
    )
    factors = pyproj.Proj(crs).get_factors(longitude.ravel(), latitude.ravel())
    axes = np.concatenate([factors.tissot_semimajor, factors.tissot_semiminor])
    axes = axes[np.isfinite(axes)]
    return float(np.abs(axes - 1).max()) if axes.size else np.inf


def warn_if_rough(
    label: str, own: pyproj.CRS, crs: pyproj.CRS, place: tuple[float, float], notes: Notes
) -> None:
    """Add a warning where the shift between two datums is unknown or coarser than 5 m.

    Parameters
    ----------
    label : str
        File, for the message.
    own, crs : pyproj.CRS
        CRS of the file and the working CRS.
    place : tuple of float
        Easting and northing of the holding in ``crs``; the shift in use depends on the place.
    notes : Notes
    """
    if own == crs:
        return
    carry = transformer(crs, own)
    carry.transform(*place)
    operation = carry.get_last_used_operation()
    if "ballpark" in operation.description.lower():
        notes.warnings.append(
            words("data.working_crs.datum_shift_unknown", label=label, name=own.name)
        )
    elif operation.accuracy > _ROUGH_SHIFT_M:
        notes.warnings.append(
            words(
                "data.working_crs.datum_shift_rough",
                label=label,
                accuracy=operation.accuracy,
                name=own.name,
            )
        )


def _given(wanted: str, lon_lat: Bounds, notes: Notes) -> pyproj.CRS | None:
    try:
        crs = pyproj.CRS.from_user_input(wanted)
    except CRSError:
        notes.fault(
            _WHERE,
            "is not a known CRS",
            found=f'"{wanted}"',
            expected="for instance EPSG:27700",
            remedy=_REMEDY,
        )
        return None
    flat = crs.to_2d()
    problem = _unfit(flat)
    if problem:
        notes.fault(
            _WHERE,
            problem,
            found=f"{wanted} ({flat.name})",
            expected="a projected CRS in metres, easting and northing, true to length",
            remedy=_REMEDY,
        )
        return None
    error = scale_error(flat, lon_lat)
    if error > LARGEST_SCALE_ERROR:
        found = f"{100 * error:.2f} %" if np.isfinite(error) else "no definition there"
        notes.fault(
            _WHERE,
            f"lengths in {wanted} ({flat.name}) are false at this holding",
            found=f"a scale error of {found}",
            expected=f"at most {100 * LARGEST_SCALE_ERROR:g} %",
            remedy=_REMEDY,
        )
        return None
    return flat


def _unfit(crs: pyproj.CRS) -> str:
    """Say why a kind of CRS cannot carry lengths, whatever the place; empty when it can."""
    if crs.is_geographic:
        return words("data.working_crs.in_degrees")
    if not crs.is_projected:
        return words("data.working_crs.not_projected")
    if any(abs(axis.unit_conversion_factor - 1) > 1e-9 for axis in crs.axis_info):
        return words("data.working_crs.not_in_metres", unit_name=crs.axis_info[0].unit_name)
    if {axis.direction for axis in crs.axis_info} != {"east", "north"}:
        return words("data.working_crs.axes_askew")
    operation = crs.coordinate_operation
    method = operation.method_name if operation else ""
    if any(word in method.lower() for word in _EQUAL_AREA):
        return words("data.working_crs.equal_area")
    if "pseudo mercator" in method.lower().replace("-", " "):
        return words("data.working_crs.web_mercator")
    return ""
