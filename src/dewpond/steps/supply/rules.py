"""Rules that may apply: local code, the undertaker and licensed practice decide, not a plan."""

from __future__ import annotations

import numpy as np

from dewpond.base.words import words
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
    return words("supply.rules.draw_needs_consent", booster_consent_l_min=BOOSTER_CONSENT_L_MIN)


def bore_at_source_mm(case: Case) -> float:
    """Return the widest bore that leaves the source [mm], 0 where none is chosen."""
    bores = case.sizes.pipes["inside_diameter_mm"].astype(float).dropna()
    return float(bores.max()) if len(bores) else 0.0


def abstraction_caution(daily_l: float) -> str:
    """Return what the day's water means for a licence to abstract it."""
    m3_day = daily_l / _LITRES_PER_M3
    if m3_day > LICENCE_ENGLAND_M3_DAY:
        verdict = words(
            "supply.rules.licence_likely",
            licence_england_m3_day=LICENCE_ENGLAND_M3_DAY,
            permitted_northern_ireland_m3_day=PERMITTED_NORTHERN_IRELAND_M3_DAY,
        )
    elif m3_day > PERMITTED_NORTHERN_IRELAND_M3_DAY:
        verdict = words(
            "supply.rules.over_northern_ireland",
            permitted_northern_ireland_m3_day=PERMITTED_NORTHERN_IRELAND_M3_DAY,
            licence_england_m3_day=LICENCE_ENGLAND_M3_DAY,
        )
    else:
        verdict = words(
            "supply.rules.below_licence",
            licence_england_m3_day=LICENCE_ENGLAND_M3_DAY,
            permitted_northern_ireland_m3_day=PERMITTED_NORTHERN_IRELAND_M3_DAY,
        )
    return words("supply.rules.abstraction", m3_day=m3_day, verdict=verdict)


def cautions(case: Case) -> tuple[str, ...]:
    """Return the rules that may apply to a source, most binding first."""
    found = []
    if case.mains is not None:
        found += _of_the_main(case)
    if case.mains is None and case.source.settings.kind != "bowser":
        found.append(abstraction_caution(case.need.daily_l))
        found.append(words("supply.rules.never_join_private"))
    if case.source.settings.kind in ("spring", "surface_water", "borehole"):
        found.append(words("supply.rules.test_water"))
    if case.source.settings.kind == "bowser":
        found.append(words("supply.rules.stock_without_water"))
    if case.pump is not None:
        found.append(words("supply.rules.electrician"))
    if case.fill is not None:
        found.append(words("supply.rules.confined_space"))
    return tuple(found)


def _of_the_main(case: Case) -> list[str]:
    gap = air_gap_mm(bore_at_source_mm(case))
    low, high = COVER_MM
    found = [
        words("supply.rules.undertaker_consent"),
        words("supply.rules.inlet_air_gap", gap=gap),
    ]
    if case.pump is not None and _pumped_flow_l_min(case) > BOOSTER_CONSENT_L_MIN:
        found.append(
            words(
                "supply.rules.pump_on_main_consent",
                booster_consent_l_min=BOOSTER_CONSENT_L_MIN,
                pumped_flow_l_min=_pumped_flow_l_min(case),
            )
        )
    if case.design.laying == "surface":
        found.append(words("supply.rules.shallow_main_consent", low=low))
    else:
        found.append(words("supply.rules.main_depth", low=low, high=high))
    return found


def _pumped_flow_l_min(case: Case) -> float:
    if case.fill is None or case.intake.pumped:
        return case.need.flow_l_min
    flow = case.fill.flow_l_min
    return flow if np.isfinite(flow) else case.fill_flow_l_min
