"""Settings of the design: what is asked of the scheme, and how each step works it out."""

from __future__ import annotations

from typing import Literal

from pydantic import model_validator

from dewpond.base.settings.fields import COMMON_PRACTICE, INVENTED, Table, setting

DemandMethod = Literal[
    "live weight share",
    "class table",
    "cattle temperature table",
    "cattle temperature equation",
    "sheep table",
]


class DesignSettings(Table):
    """What the scheme must do: ``[design]``."""

    walk_limit_m: float = setting(
        400.0,
        "Longest walk to water over the ground [m].",
        "NRCS Kansas, Design of Watering Facilities: at most 1320 ft (402 m), best 900 ft (274 m)",
        gt=0,
        le=5000,
    )
    trough: Literal["mobile", "fixed"] = setting(
        "mobile", "Troughs moved with the mob, or standing fixed.", COMMON_PRACTICE
    )
    laying: Literal["surface", "buried"] = setting(
        "surface", "Pipe laid along the ground or in a trench.", COMMON_PRACTICE
    )
    follow: Literal["fences", "open"] = setting(
        "fences",
        "Ways pipe may take: along fences and tracks, with open ground only where they do not "
        "meet; or over open ground too.",
        COMMON_PRACTICE,
    )
    hose_m: float = setting(
        0.0,
        "Hose of a mobile trough, over the ground [m]; stock walk only beyond its reach.",
        COMMON_PRACTICE,
        ge=0,
        le=500,
    )
    source: str | None = setting(
        None,
        "Name of the source that feeds the scheme; left out, every source is tried: the one whose "
        "scheme serves best is taken, and the others are told.",
    )


class DemandSettings(Table):
    """How daily demand is worked out: ``[demand]``."""

    method: DemandMethod = setting(
        "live weight share",
        "Rule, table or equation for litres a head a day on the peak day.",
        COMMON_PRACTICE,
    )
    table: Literal["AAFC", "Agriculture Victoria", "Teagasc"] = setting(
        "AAFC", "Published class table, with method = 'class table'."
    )
    share_lactating: float = setting(
        0.15, "Share of live weight drunk a day, lactating, young included.", COMMON_PRACTICE, gt=0
    )
    share_other: float = setting(
        0.12, "Share of live weight drunk a day, other stock.", COMMON_PRACTICE, gt=0
    )
    mobile_hours: float = setting(
        7.0, "Hours in which the day's water is drunk, mobile.", COMMON_PRACTICE, gt=0, le=24
    )
    fixed_hours: float = setting(
        9.0, "Hours in which the day's water is drunk, fixed.", COMMON_PRACTICE, gt=0, le=24
    )
    loss_share: float = setting(
        0.0, "Share added for evaporation and waste (published practice 0.10).", ge=0, le=1
    )
    air_temperature_c: float = setting(
        27.0, "Mean air temperature of the peak day [°C].", COMMON_PRACTICE, ge=-20, le=50
    )
    relative_humidity_percent: float = setting(
        50.0, "Relative humidity of the peak day [%].", COMMON_PRACTICE, ge=0, le=100
    )
    wind_speed_m_s: float = setting(
        2.8, "Wind speed of the peak day [m/s].", COMMON_PRACTICE, ge=0, le=30
    )
    sunshine_hours: float = setting(
        12.0, "Hours of sun on the peak day.", COMMON_PRACTICE, ge=0, le=24
    )


class WalkingSettings(Table):
    """How walking distance is measured: ``[walking]``."""

    cell_m: float | None = setting(
        None,
        "Cell of the walking grid [m]; left out, from paddock size and posting.",
        gt=0,
        le=100,
    )
    slope_effort: Literal["none", "cattle climb"] = setting(
        "none",
        "none: length over the ground; cattle climb: each metre climbed counts as 13 more "
        "on the level.",
        "Ribeiro, Brockway & Webster 1977: 26 J/kg per metre climbed, 2 J/kg per metre level",
    )


class SitingSettings(Table):
    """Where an outlet may stand: ``[siting]``."""

    spacing_m: float = setting(
        50.0, "Largest distance between neighbouring candidate sites [m].", COMMON_PRACTICE, gt=0
    )
    inside: bool | None = setting(
        None,
        "Also consider sites inside paddocks; left out, where a hose is used and in paddocks with "
        "ground farther than a walk from every site on the fence (there a quarter to "
        "three quarters of that walk apart, about 400 a paddock at most).",
    )
    gate_clearance_m: float = setting(
        10.0, "Least distance from an outlet to a gateway [m].", COMMON_PRACTICE, ge=0
    )
    watercourse_clearance_m: float = setting(
        10.0,
        "Least distance from an outlet to a watercourse [m].",
        "Countryside Stewardship LV7 and LV8, England: not within 10 m of a watercourse",
        ge=0,
    )
    steepest_degrees: float = setting(
        10.0,
        "Steepest ground for a free-standing trough [degrees] (10 to 12).",
        COMMON_PRACTICE,
        gt=0,
        le=45,
    )


class LayoutSettings(Table):
    """How outlets and pipe are chosen together: ``[layout]``."""

    least_outlets_per_paddock: int = setting(
        0, "Fewest outlets that a grazed paddock must be able to use.", ge=0, le=50
    )
    most_outlets_per_paddock: int | None = setting(
        None, "Most outlets that a paddock may use; left out, as many as it takes.", ge=1, le=500
    )
    spine_spacing_m: float = setting(
        60.0,
        "Distance between outlets along each line of [features] spine [m].",
        COMMON_PRACTICE,
        gt=0,
        le=1000,
    )
    preference: float = setting(
        0.25,
        "Share of its price by which an outlet on preferred ground counts for less in the choice.",
        COMMON_PRACTICE,
        ge=0,
        le=1,
    )
    landlord_consents: bool = setting(
        False, "Whether buried pipe and fixed troughs are allowed on rented ground."
    )
    least_static_head_m: float = setting(
        0.5,
        "Static head below which no outlet is chosen where another could serve the same ground "
        "[m].",
        COMMON_PRACTICE,
        ge=0,
        le=50,
    )
    above_water_factor: float = setting(
        4.0,
        "Times its own price that pipe and outlets above the still water of the source count "
        "extra, where some ground cannot be served without.",
        COMMON_PRACTICE,
        ge=0,
        le=100,
    )
    price_rounds: int = setting(
        1,
        "Times the choice is made again with the prices of the pipe sizes it came to.",
        ge=0,
        le=5,
    )
    optimality_gap: float = setting(
        0.01,
        "Share of the whole price that may stay unproven; 0 asks for the full proof.",
        ge=0,
        le=0.5,
    )
    cut_rounds: int = setting(200, "Rounds of cuts before the search branches.", ge=0)
    node_limit: int = setting(20_000, "Branch-and-bound nodes before the search stops.", ge=0)
    restarts: int = setting(
        400, "Times that part of the best scheme is torn up and built again.", ge=0
    )
    time_limit_s: float = setting(
        120.0,
        "Seconds before the search stops; a plan it cuts short says that it may not reproduce.",
        gt=0,
    )

    @model_validator(mode="after")
    def _check_numbers(self) -> LayoutSettings:
        most = self.most_outlets_per_paddock
        if most is not None and most < self.least_outlets_per_paddock:
            raise ValueError(
                f"least_outlets_per_paddock is {self.least_outlets_per_paddock} and "
                f"most_outlets_per_paddock only {most}; the most cannot be fewer than the least"
            )
        return self


class RoutingSettings(Table):
    """How the ways for pipe are laid out: ``[routing]``."""

    open_ground_spacing_m: float = setting(
        50.0, "Distance between nodes on open ground [m].", COMMON_PRACTICE, gt=0
    )
    widest_gap_m: float = setting(
        20.0,
        "Widest gap between fences, a lane for instance, that pipe may cross anywhere [m].",
        COMMON_PRACTICE,
        ge=0,
        le=200,
    )


class PricesSettings(Table):
    """Prices for choosing between schemes, in one currency: ``[prices]``; samples are invented."""

    currency: str = setting("GBP", "Currency of every price, ISO 4217.", "ISO 4217")
    outlet_each: float = setting(240.0, "An outlet with its trough.", INVENTED, ge=0)
    along_fence_per_m: float = setting(4.0, "Pipe laid along a fence, a metre.", INVENTED, ge=0)
    along_track_per_m: float = setting(6.0, "Pipe laid along a track, a metre.", INVENTED, ge=0)
    open_ground_per_m: float = setting(
        5.0, "Pipe laid across open ground, a metre.", INVENTED, ge=0
    )
    track_crossing_each: float = setting(180.0, "Sleeve under a track or lane.", INVENTED, ge=0)
    watercourse_crossing_each: float = setting(350.0, "Crossing of a watercourse.", INVENTED, ge=0)
    wayleave_per_m: float = setting(
        2.0, "Wayleave for pipe over ground that needs one, a metre.", INVENTED, ge=0
    )
