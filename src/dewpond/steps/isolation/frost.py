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
    notes.append(words("isolation.frost.guidance_at_troughs"))
    return tuple(notes)


def _frost(supply: SupplySettings, design: DesignSettings, drains: int) -> str:
    emptied = (
        words("isolation.frost.drain_by_drains", drains=drains)
        if drains
        else words("isolation.frost.drain_by_troughs")
    )
    if design.laying == "buried":
        kept = words("isolation.frost.lag_risers")
        if supply.used_in_winter:
            return words(
                "isolation.frost.winter_buried_pipe",
                frost_depth_mm=supply.frost_depth_mm,
                kept=kept,
            )
        return words(
            "isolation.frost.not_used_in_winter",
            emptied=emptied,
            frost_depth_mm=supply.frost_depth_mm,
        )
    if supply.used_in_winter:
        return words("isolation.frost.winter_surface_pipe", frost_depth_mm=supply.frost_depth_mm)
    return words("isolation.frost.empty_surface_pipe", emptied=emptied)


def _cover(source: Source, supply: SupplySettings) -> str:
    text = words("isolation.frost.cover_planned", cover_mm=supply.frost_depth_mm)
    outside = not _LEAST_COVER_MM <= supply.frost_depth_mm <= _MOST_COVER_MM
    if source.settings.kind == "mains":
        text += words("isolation.frost.consent_for_depth")
        text += words("isolation.frost.case_here") if outside else ""
    return text + words("isolation.frost.local_code_decides")
