"""The unit of a raster's heights, from what the file and the project file state."""

from __future__ import annotations

from collections.abc import Sequence

import pyproj

from dewpond.base.settings import TerrainSettings
from dewpond.base.units import METRES_PER_FOOT
from dewpond.base.words import words
from dewpond.steps.read.notes import Notes, listed
from dewpond.steps.read.rasters import Raster

METRES_PER_US_SURVEY_FOOT = 1200 / 3937
"""US survey foot [m], by definition (Mendenhall Order, 1893)."""

_SPELLINGS: dict[str, float] = {
    **dict.fromkeys(("m", "metre", "metres", "meter", "meters"), 1.0),
    **dict.fromkeys(
        ("ft", "foot", "feet", "international foot", "foot (international)"), METRES_PER_FOOT
    ),
    **dict.fromkeys(
        ("us survey foot", "us survey feet", "us-ft", "us_ft", "ftus", "sft", "foot_us"),
        METRES_PER_US_SURVEY_FOOT,
    ),
    **dict.fromkeys(("dm", "decimetre", "decimeter", "decimetres", "decimeters"), 0.1),
    **dict.fromkeys(("cm", "centimetre", "centimeter", "centimetres", "centimeters"), 0.01),
    **dict.fromkeys(("mm", "millimetre", "millimeter", "millimetres", "millimeters"), 0.001),
}
_SET = {"metre": 1.0, "foot": METRES_PER_FOOT}


def metres_per_unit(
    rasters: Sequence[Raster], settings: TerrainSettings, notes: Notes
) -> list[float | None]:
    """Return the factor from each raster's heights to metres; None, with a fault, if unknown.

    In this order: the unit of the band, the vertical CRS of the file, ``height_unit`` of the
    project file. A file and a project file that contradict each other are a fault. A raster
    whose map CRS is projected in metres and that states nothing is taken to be in metres, with
    a warning: national grids are delivered so. Degrees and feet on the map tell nothing.
    """
    factors = []
    assumed = []
    for raster in rasters:
        factor = _stated(raster, settings.height_unit, notes)
        if factor == 0 and _is_metric(raster.crs):
            assumed.append(raster)
            factor = 1.0
        elif factor == 0:
            _refuse_unknown(raster, notes)
            factor = None
        factors.append(factor)
    if assumed:
        notes.warnings.append(
            words(
                "data.units.unit_taken_for_metres",
                listed=listed(raster.label for raster in assumed),
                name=assumed[0].crs.name,
            )
        )
    return factors


def _stated(raster: Raster, wanted: str | None, notes: Notes) -> float | None:
    """Return the factor that file or project file state, 0 where neither does, None at fault."""
    stated = _band_unit(raster, wanted, notes)
    if stated is None:
        return None
    factor, says = stated if stated[0] else _vertical_unit(raster.vertical)
    if factor:
        if wanted is not None and abs(factor / _SET[wanted] - 1) > 1e-4:
            notes.fault(
                "[terrain], height_unit",
                f"contradicts {raster.label}",
                found=f'"{wanted}", where {says}',
                expected="the same unit in both",
                remedy="take height_unit out, or mend the unit stored in the raster",
            )
            return None
        return factor
    return _SET[wanted] if wanted is not None else 0.0


def _is_metric(crs: pyproj.CRS) -> bool:
    return crs.is_projected and abs(crs.axis_info[0].unit_conversion_factor - 1) < 1e-9


def _refuse_unknown(raster: Raster, notes: Notes) -> None:
    notes.fault(
        raster.label,
        "the unit of its heights is unknown",
        found=f"no unit in the file, and a map CRS in {raster.crs.axis_info[0].unit_name} "
        f"({raster.crs.name})",
        expected="metre or foot",
        remedy='look it up where the raster came from and set height_unit = "metre" or '
        '"foot" under [terrain]',
    )


def _band_unit(raster: Raster, wanted: str | None, notes: Notes) -> tuple[float, str] | None:
    """Return the unit tag of the band as factor and words, (0, "") without one."""
    tag = (raster.dataset.units[0] or "").strip()
    if not tag:
        return 0.0, ""
    factor = _SPELLINGS.get(tag.lower())
    if factor is not None:
        return factor, words("data.units.unit_of_band", tag=tag)
    if wanted is not None:
        notes.warnings.append(
            words("data.units.unit_unknown", label=raster.label, tag=tag, wanted=wanted)
        )
        return 0.0, ""
    notes.fault(
        raster.label,
        "the unit of its heights is unknown",
        found=f'the unit "{tag}"',
        expected="metre or foot",
        remedy='set height_unit = "metre" or "foot" under [terrain]',
    )
    return None


def _vertical_unit(vertical: pyproj.CRS | None) -> tuple[float, str]:
    if vertical is None:
        return 0.0, ""
    axis = vertical.axis_info[-1]
    return (
        axis.unit_conversion_factor,
        words("data.units.unit_of_vertical_crs", name=vertical.name, unit_name=axis.unit_name),
    )
