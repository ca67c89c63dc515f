"""What is to be said of frost, season and the fittings at troughs."""

from __future__ import annotations

from dewpond.base.model import Source
from dewpond.base.settings import DesignSettings, SupplySettings

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
    notes.append(
        "At each trough: a service valve close to the inlet, and the float valve fixed and kept "
        "from stock (guidance on the United Kingdom's water fittings rules); stop valves stand in "
        "marked, covered boxes that stock and machines cannot reach (common practice)."
    )
    return tuple(notes)


def _frost(supply: SupplySettings, design: DesignSettings, drains: int) -> str:
    emptied = (
        f"shut the valve at the source and open the {drains} drain points and every trough"
        if drains
        else "shut the valve at the source and let it run out at the troughs"
    )
    if design.laying == "buried":
        kept = "the rising pipe at each trough needs lagging or draining all the same"
        if supply.used_in_winter:
            return (
                f"Used in winter: pipe lies under {supply.frost_depth_mm:.0f} mm of cover, below "
                f"frost; {kept}."
            )
        return (
            f"Not used in winter: before the first frost {emptied}; pipe with less than "
            f"{supply.frost_depth_mm:.0f} mm of cover freezes if it stays full."
        )
    if supply.used_in_winter:
        return (
            "Used in winter, yet pipe on the surface freezes: bury it under at least "
            f"{supply.frost_depth_mm:.0f} mm of cover, or water stock otherwise in frost."
        )
    return (
        f"Pipe on the surface freezes: before the first frost {emptied}, and leave the drains "
        "open until spring."
    )


def _cover(source: Source, supply: SupplySettings) -> str:
    text = f"Cover of {supply.frost_depth_mm:.0f} mm is planned, over the top of the pipe"
    outside = not _LEAST_COVER_MM <= supply.frost_depth_mm <= _MOST_COVER_MM
    if source.settings.kind == "mains":
        text += (
            "; in the United Kingdom outside pipe on a main with less than 750 mm or more than "
            "1350 mm needs the water undertaker's consent"
        )
        text += ", which is the case here" if outside else ""
    return text + ". Local code and the water undertaker decide; ask before work starts."
