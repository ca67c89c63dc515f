"""Settings of pipe, troughs and supply: what makes the water arrive."""

from __future__ import annotations

from itertools import pairwise
from typing import Literal

from pydantic import Field, model_validator

from dewpond.base.settings.fields import COMMON_PRACTICE, Table, setting


class PipeSettings(Table):
    """Pipe to choose from and how losses are worked out: ``[pipe]``."""

    table: str | None = setting(
        None, "CSV of pipe sizes, walls and classes; left out, PE80 and PE100 of ISO 4427."
    )
    prices: str | None = setting(None, "CSV of pipe prices a metre; left out, invented samples.")
    materials: list[str] = setting(
        ["PE80"], "Materials to choose from, by the name in the table.", COMMON_PRACTICE
    )
    friction: Literal["Darcy-Weisbach", "Hazen-Williams"] = setting(
        "Darcy-Weisbach", "Friction law; Hazen-Williams is optimistic for small cold pipe."
    )
    roughness_mm: float = setting(
        0.01, "Roughness of the bore [mm].", "pipe type list of the open library pandapipes", ge=0
    )
    hazen_williams_c: float = setting(
        140.0, "Coefficient C of plastic pipe (140 to 150).", "EPA/600/R-20/133, table 3.2", gt=0
    )
    water_temperature_c: float = setting(
        10.0, "Temperature of the water [°C].", COMMON_PRACTICE, ge=0, le=40
    )
    wall_temperature_c: float | None = setting(
        None,
        "Temperature of the pipe wall for its pressure class [°C]; left out, 40 on the surface "
        "in sun and 20 buried.",
        COMMON_PRACTICE,
        ge=0,
        le=50,
    )
    velocity_limit_m_s: float = setting(1.5, "Fastest flow in a pipe [m/s].", "NRCS CPS 516", gt=0)
    summit_margin_m: float = setting(
        1.0, "Least head over the ground anywhere along a pipe [m].", COMMON_PRACTICE, ge=0
    )
    fittings_loss: float = setting(
        3.0, "Sum of loss coefficients of the fittings on each pipe.", COMMON_PRACTICE, ge=0
    )
    surge: bool = setting(
        True, "Add the pressure rise of a valve shut fast to the static head.", "Joukowsky 1898"
    )
    may_grow: bool = setting(False, "A pipe may be wider than the one before it.")
    existing_outside_diameter_mm: float = setting(
        25.0,
        "Size of the pipe that is in the ground already [mm]; its strongest class in the table is "
        "taken.",
        COMMON_PRACTICE,
        gt=0,
    )
    break_with: Literal["break tank", "reducing valve"] = setting(
        "break tank", "What lowers the pressure where no pipe class will do.", COMMON_PRACTICE
    )


class TroughSettings(Table):
    """Troughs and their float valves: ``[trough]``."""

    volume_l: float | None = setting(
        None, "Volume of a fixed trough [L]; left out, one is suggested.", gt=0
    )
    mobile_volume_l: float = setting(
        120.0, "Volume of a mobile trough [L].", COMMON_PRACTICE, gt=0
    )
    seat_bore_mm: float | None = setting(
        None, "Bore of the float valve's seat [mm]; left out, the least of the table that will do."
    )
    discharge_coefficient: float = setting(
        0.6, "Discharge coefficient of the valve.", COMMON_PRACTICE, gt=0, le=1
    )
    valves: str | None = setting(None, "CSV of float valves; left out, those of the package.")
    rule: Literal[
        "hours of the day", "refill in an hour", "day in four hours", "herd in twenty minutes"
    ] = setting(
        "refill in an hour",
        "Rule for a mob that comes to water together; 'hours of the day' keeps the 7 or 9 hours "
        "whatever the distance.",
        "USDA Livestock Watering Data Sheet: refill in 1 h, 2 US gal (7.57 L) an animal",
    )
    singly_within_m: float = setting(
        400.0, "Stock drink in ones and twos within this walk [m].", COMMON_PRACTICE, gt=0
    )
    singly_within_ha: float = setting(
        2.5, "Stock drink in ones and twos in a paddock up to this size [ha].", COMMON_PRACTICE
    )
    share_at_once: float = setting(
        0.10,
        "Share of the mob that drinks at once when it comes together.",
        "Teagasc; Missouri NRCS: space for 10 % of the herd",
        gt=0,
        le=1,
    )
    singly_share: float = setting(
        0.04,
        "Share of the mob that drinks at once, and at least two head, where it drinks in ones and "
        "twos.",
        "Ohio State University ANR-12: space for 2 to 4 % of the herd",
        gt=0,
        le=1,
    )
    drinking_rate_l_min: float | None = setting(
        None, "Rate at which one animal drinks [L/min]; left out, by species and state.", gt=0
    )
    drinks_a_day: float = setting(
        3.0,
        "Times a day that each animal comes to drink (2 to 5).",
        "NRCS Missouri, Livestock Watering Systems: cattle come 2 to 5 times a day",
        ge=1,
        le=12,
    )
    edge_m: float = setting(
        2.4, "Edge of one trough at which stock can stand [m].", COMMON_PRACTICE, gt=0
    )
    fixed_in: list[str] = setting(
        [], "Paddocks with a fixed trough whatever mob grazes them, by name."
    )
    mobile_in: list[str] = setting(
        [], "Paddocks with a mobile trough whatever mob grazes them, by name."
    )
    valve_head_limit_m: float = setting(
        5.0,
        "Most head that a float valve may take up at the design flow [m].",
        COMMON_PRACTICE,
        gt=0,
    )
    inlet: Literal["over the rim", "submerged"] = setting(
        "over the rim", "Where the water enters a trough; a submerged inlet needs an air gap."
    )


class SupplySettings(Table):
    """Storage, pumping and hauling: ``[supply]``."""

    reserve_days: float = setting(
        1.0, "Days of demand held in reserve in a tank.", COMMON_PRACTICE, ge=0, le=14
    )
    fill_from_hour: float = setting(0.0, "Hour at which a tank may start to fill.", ge=0, le=24)
    fill_to_hour: float = setting(24.0, "Hour at which it must stop.", ge=0, le=24)
    drinking_curve: Literal["even", "dawn to dusk", "two peaks"] = setting(
        "two peaks", "Shape of the drinking day.", "peaks 07-08 h and 17-18 h, Water 2016 8(7) 302"
    )
    dry_summer_factor: float = setting(
        0.8, "Share of the measured flow left in a dry summer.", COMMON_PRACTICE, gt=0, le=1
    )
    pump_efficiency: float = setting(
        0.35, "Power into the water over power into the pump set.", COMMON_PRACTICE, gt=0, le=1
    )
    peak_sun_hours: float = setting(
        4.0, "Hours of full sun on a design day.", COMMON_PRACTICE, gt=0, le=14
    )
    panel_derate: float = setting(
        0.8, "Share of the panel's rating that arrives.", COMMON_PRACTICE, gt=0, le=1
    )
    bowser_l: float = setting(1000.0, "Volume of the bowser [L].", COMMON_PRACTICE, gt=0)
    bowser_trip_h: float = setting(1.0, "Hours a bowser trip takes.", COMMON_PRACTICE, gt=0)
    frost_depth_mm: float = setting(
        750.0,
        "Depth of cover against frost [mm].",
        "Water Supply (Water Fittings) Regulations 1999, schedule 2: 750 mm",
        ge=0,
    )
    used_in_winter: bool = setting(False, "Whether the scheme carries water in frost.")
    outlet_head_m: float = setting(
        5.0,
        "Head at an outlet for which a pump is chosen, before pipe and valve are sized [m].",
        COMMON_PRACTICE,
        ge=0,
    )
    friction_allowance_m_per_100_m: float = setting(
        1.0,
        "Head allowed for friction in each 100 m of pipe that is not sized yet [m].",
        COMMON_PRACTICE,
        ge=0,
        le=20,
    )
    tank_search_m: float = setting(
        500.0,
        "Distance from the paddocks within which a place for a tank is looked for [m].",
        COMMON_PRACTICE,
        ge=0,
        le=5000,
    )
    tank_water_above_ground_m: float = setting(
        1.5, "Height of the water over the ground in a tank yet to be built [m].", COMMON_PRACTICE
    )
    tank_margin_m: float = setting(
        2.0,
        "Head to spare for which a place for a tank is looked for, open heights being what they "
        "are [m].",
        COMMON_PRACTICE,
        ge=0,
    )
    hauling_hours_limit: float = setting(
        4.0, "Most hours a day that hauling water may take.", COMMON_PRACTICE, gt=0, le=24
    )


class BucketSettings(Table):
    """One timed bucket at a source: ``[[source.bucket]]``."""

    litres: float = Field(gt=0, description="Volume of the bucket [L].")
    seconds: float = Field(gt=0, description="Time in which it filled [s].")
    tap: str = setting("", "Which tap.")
    level_m: float | None = setting(None, "Level of the tap, in the datum of the elevation [m].")
    date: str = setting("", "Day of the measurement, year-month-day.")
    hour: float | None = setting(None, "Hour of the measurement.", ge=0, le=24)
    through: Literal["open pipe", "valve"] = setting(
        "open pipe", "Whether the water ran from an open pipe or through a valve."
    )


class PumpSettings(Table):
    """The pump at a source: ``source.pump``."""

    power: Literal["electric", "solar"] = setting("electric", "What drives it.")
    curve_flow_l_min: list[float] = setting(
        [], "Flows on the pump's curve [L/min]; left out, a pump is sized from scratch."
    )
    curve_head_m: list[float] = setting([], "Heads on the curve at those flows [m].")
    water_level_below_m: float = setting(
        0.0, "Depth of the water below the ground at the source [m].", ge=0, le=300
    )
    suction_lift_m: float | None = setting(
        None, "Height of the pump over the water it sucks [m]; left out, it is submerged.", ge=0
    )
    suction_needs_m: float = setting(
        3.5,
        "Head the pump needs at its inlet and loses on the way there [m]; leaves 6.7 m of lift at "
        "sea level.",
        "common practice, no source: 6 to 7 m at sea level",
        ge=0,
        le=10,
    )
    head_m: float | None = setting(
        None,
        "Head for which a pump is sized from scratch [m]; left out, lift to the highest need, "
        "head at the outlet and an allowance for friction.",
        gt=0,
        le=500,
    )

    @model_validator(mode="after")
    def _check_curve(self) -> PumpSettings:
        flow, head = self.curve_flow_l_min, self.curve_head_m
        if len(flow) != len(head):
            raise ValueError("curve_flow_l_min and curve_head_m must be of one length")
        if len(flow) == 1:
            raise ValueError("a pump curve needs two points or more")
        rising = all(first < second for first, second in pairwise(flow))
        falling = all(first > second for first, second in pairwise(head))
        if flow and not (rising and falling and flow[0] >= 0 and head[-1] >= 0):
            raise ValueError(
                "along a pump curve flow rises and head falls, from point to point, neither below "
                "zero"
            )
        return self
