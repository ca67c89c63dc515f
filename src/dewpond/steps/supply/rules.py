"""Rules that may apply: local code, the undertaker and licensed practice decide, not a plan."""

from __future__ import annotations

import numpy as np

from dewpond.steps.supply.case import Case

AIR_GAP_LEAST_MM = 20.0
"""Least air gap over the spill level [mm]: the larger of this and twice the supply bore.

Water Regulations guidance, type AA and AB air gaps.
"""

BOOSTER_CONSENT_L_MIN = 12.0
"""Pump or booster on a supply pipe that draws more needs the undertaker's consent [L/min].

Water Supply (Water Fittings) Regulations 1999, regulation 5.
"""

COVER_MM = (750.0, 1350.0)
"""Cover of outside pipe beyond which consent is needed [mm]; same regulations."""

LICENCE_ENGLAND_M3_DAY = 20.0
"""Abstraction above which a licence is likely in England and Wales [m³/d]: gov.uk guidance."""

PERMITTED_NORTHERN_IRELAND_M3_DAY = 10.0
"""Abstraction that is permitted in Northern Ireland [m³/d]: DAERA guidance."""

_LITRES_PER_M3 = 1000.0


def air_gap_mm(supply_bore_mm: float) -> float:
    """Return the air gap over the spill level [mm]: twice the supply bore, at least 20 mm."""
    return max(2.0 * supply_bore_mm, AIR_GAP_LEAST_MM)


def consent_sentence() -> str:
    """Return what to say of a pump that draws more from a main than is free of consent."""
    return (
        f"It draws over {BOOSTER_CONSENT_L_MIN:g} L/min from the main and needs the undertaker's "
        "consent."
    )


def bore_at_source_mm(case: Case) -> float:
    """Return the widest bore that leaves the source [mm], 0 where none is chosen."""
    bores = case.sizes.pipes["inside_diameter_mm"].astype(float).dropna()
    return float(bores.max()) if len(bores) else 0.0


def abstraction_caution(daily_l: float) -> str:
    """Return what the day's water means for a licence to abstract it."""
    m3_day = daily_l / _LITRES_PER_M3
    if m3_day > LICENCE_ENGLAND_M3_DAY:
        verdict = (
            f"above {LICENCE_ENGLAND_M3_DAY:g} m³ a day a licence is likely to be needed in "
            "England and Wales, and in Northern Ireland already above "
            f"{PERMITTED_NORTHERN_IRELAND_M3_DAY:g}"
        )
    elif m3_day > PERMITTED_NORTHERN_IRELAND_M3_DAY:
        verdict = (
            f"more than the {PERMITTED_NORTHERN_IRELAND_M3_DAY:g} m³ a day permitted in Northern "
            f"Ireland, below the {LICENCE_ENGLAND_M3_DAY:g} m³ above which England and Wales are "
            "likely to want a licence"
        )
    else:
        verdict = (
            f"below the {LICENCE_ENGLAND_M3_DAY:g} m³ a day above which England and Wales are "
            f"likely to want a licence, and the {PERMITTED_NORTHERN_IRELAND_M3_DAY:g} m³ "
            "permitted in Northern Ireland"
        )
    return (
        f"The scheme takes {m3_day:.1f} m³ on the peak day: {verdict}. Everything taken from one "
        "source counts together, for whatever use; ask the authority before relying on it."
    )


def cautions(case: Case) -> tuple[str, ...]:
    """Return the rules that may apply to a source, most binding first."""
    found = []
    if case.mains is not None:
        found += _of_the_main(case)
    if case.mains is None and case.source.settings.kind != "bowser":
        found.append(abstraction_caution(case.need.daily_l))
        found.append(
            "Water from a private source must never be joined to the main; where both serve one "
            "trough or tank, the main enters it through an air gap."
        )
    if case.source.settings.kind in ("spring", "surface_water", "borehole"):
        found.append(
            "Have the water tested, and the flow measured in a dry season: yields fall, and a "
            "borehole's water level falls while it is pumped."
        )
    if case.source.settings.kind == "bowser":
        found.append(
            "Stock must not be left without water: distress is likely beyond 24 h, so plan for "
            "a day on which the bowser cannot come."
        )
    if case.pump is not None:
        found.append("Electrical work on a pump or panel belongs to a competent electrician.")
    if case.fill is not None:
        found.append(
            "A tank, chamber or well may be a confined space: nobody enters without a rescue plan."
        )
    return tuple(found)


def _of_the_main(case: Case) -> list[str]:
    gap = air_gap_mm(bore_at_source_mm(case))
    low, high = COVER_MM
    found = [
        "The water undertaker's consent may be needed before any of this is laid or altered; "
        "troughs count as the highest risk to a main (fluid category 5).",
        f"Every inlet from a main stands at least {gap:.0f} mm above the spill-over level of its "
        "trough or tank (twice the bore of the supply, and 20 mm at least).",
    ]
    if case.pump is not None and _pumped_flow_l_min(case) > BOOSTER_CONSENT_L_MIN:
        found.append(
            f"A pump that draws more than {BOOSTER_CONSENT_L_MIN:g} L/min from a main needs the "
            f"undertaker's consent; this one draws {_pumped_flow_l_min(case):.1f} L/min."
        )
    if case.design.laying == "surface":
        found.append(
            f"Outside pipe on a main with less than {low:g} mm of cover needs the undertaker's "
            "consent; pipe on the surface has none, freezes, and warms in the sun."
        )
    else:
        found.append(
            f"Outside pipe on a main lies {low:g} to {high:g} mm deep unless the undertaker "
            "consents to less or more."
        )
    return found


def _pumped_flow_l_min(case: Case) -> float:
    if case.fill is None or case.intake.pumped:
        return case.need.flow_l_min
    flow = case.fill.flow_l_min
    return flow if np.isfinite(flow) else case.fill_flow_l_min
