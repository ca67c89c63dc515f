"""What is to be said of frost, season and the fittings at troughs."""

from __future__ import annotations

from dewpond.base.model import Source
from dewpond.base.settings import DesignSettings, SupplySettings
from dewpond.base.words import words

# Depths of outside pipe beyond which the undertaker's consent is asked for in the United Kingdom
# [mm]: Water Supply (Water Fittings) Regulations 1999, regulation 5.
_LEAST_COVER_MM, _MOST_COVER_MM = 750.0, 1350.0


def frost_notes(
    source: Source, supply: SupplySettings, design: DesignSettings, drains: int
) -> tuple[str, ...]:
    """Return notes on frost, cover and season, in sentences; local code decides."""
    notes = [_frost(supply, design, drains)]
    if design.laying == "buried":
        notes.append(_cover(source, supply))
    notes.append(words("isolation.frost.at_each_trough_a_service"))
    return tuple(notes)


def _frost(supply: SupplySettings, design: DesignSettings, drains: int) -> str:
    emptied = (
        words("isolation.frost.shut_the_valve_at_the", drains=drains)
        if drains
        else words("isolation.frost.shut_the_valve_at_the_source")
    )
    if design.laying == "buried":
        kept = words("isolation.frost.the_rising_pipe_at_each")
        if supply.used_in_winter:
            return words(
                "isolation.frost.used_in_winter_pipe_lies",
                frost_depth_mm=supply.frost_depth_mm,
                kept=kept,
            )
        return words(
            "isolation.frost.not_used_in_winter_before",
            emptied=emptied,
            frost_depth_mm=supply.frost_depth_mm,
        )
    if supply.used_in_winter:
        return words(
            "isolation.frost.used_in_winter_yet_pipe", frost_depth_mm=supply.frost_depth_mm
        )
    return words("isolation.frost.pipe_on_the_surface_freezes", emptied=emptied)


def _cover(source: Source, supply: SupplySettings) -> str:
    text = words("isolation.frost.cover_of_mm_is_planned", frost_depth_mm=supply.frost_depth_mm)
    outside = not _LEAST_COVER_MM <= supply.frost_depth_mm <= _MOST_COVER_MM
    if source.settings.kind == "mains":
        text += words("isolation.frost.in_the_united_kingdom_outside")
        text += words("isolation.frost.which_is_the_case_here") if outside else ""
    return text + words("isolation.frost.local_code_and_the_water")
