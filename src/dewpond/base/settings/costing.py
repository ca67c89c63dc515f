"""Settings of the priced schedule: quantities, labour, holders, grants, budget, whole life."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from dewpond.base.settings.fields import COMMON_PRACTICE, INVENTED, Table, setting

Holder = Literal["landlord", "tenant", "portable"]
WORKS = ("source", "pipe", "fittings", "outlets", "crossings", "laying", "labour")
"""Headings of the schedule, in the order of printing."""


class GrantSettings(Table):
    """A grant: what it pays for, at what rate, with its caps: ``[[grant]]``."""

    name: str = Field(min_length=1, description="Name of the grant or of its option.")
    pays_for: list[str] = Field(
        min_length=1,
        description="What it pays for: codes of the price list, the first part of a code for "
        "every size of it (trough-fixed), or headings of the schedule (pipe).",
    )
    each: float | None = setting(
        None, "Money for each unit, a trough or a metre; else give share.", gt=0
    )
    share: float | None = setting(
        None, "Share of the amount that it pays; else give each.", gt=0, le=1
    )
    cap_each: float | None = setting(None, "Most money for one unit.", gt=0)
    cap_item: float | None = setting(None, "Most money for one code of the price list.", gt=0)
    cap: float | None = setting(None, "Most money in all.", gt=0)
    source: str = setting("", "Where the rate is published, with its date.")

    @model_validator(mode="after")
    def _check_rate(self) -> GrantSettings:
        if (self.each is None) == (self.share is None):
            raise ValueError("a grant needs either each or share, and not both")
        return self


class CostingSettings(Table):
    """The priced schedule and the cost over the years: ``[costing]``; sample prices invented."""

    price_list: str | None = setting(
        None,
        "CSV of prices with the columns code, description, unit, price, currency, holder, "
        "life_years, source; its rows stand in place of the sample's, which are invented.",
        INVENTED,
    )
    pipe_waste_share: float = setting(
        0.05, "Share of pipe added for bends and waste.", COMMON_PRACTICE, ge=0, le=1
    )
    coil_m: float = setting(
        100.0, "Length of a coil of pipe [m]; coils are joined by couplers.", COMMON_PRACTICE, gt=0
    )
    joint_m: float = setting(
        0.3, "Pipe cut off and lapped at each joint of coils [m].", COMMON_PRACTICE, ge=0, le=10
    )
    pipe_life_years: float = setting(
        50.0, "Years after which pipe is replaced.", COMMON_PRACTICE, gt=0
    )
    sleeve_m: float = setting(
        6.0, "Sleeve at each crossing of a track or watercourse [m].", COMMON_PRACTICE, ge=0
    )
    connectors_per_outlet: int = setting(
        2, "Connectors of the pipe's size at each outlet.", COMMON_PRACTICE, ge=0, le=20
    )
    mobile_troughs: Literal["each mob", "each outlet"] = setting(
        "each mob",
        "Whether a mobile trough moves with its mob, or one is bought for each outlet.",
        COMMON_PRACTICE,
    )
    surface_fence_h_per_100_m: float = setting(
        1.5, "Labour, pipe on the ground along a fence [h].", COMMON_PRACTICE, ge=0
    )
    surface_track_h_per_100_m: float = setting(
        2.0, "Labour, pipe on the ground along a track [h].", COMMON_PRACTICE, ge=0
    )
    surface_open_ground_h_per_100_m: float = setting(
        2.0, "Labour, pipe on open ground [h].", COMMON_PRACTICE, ge=0
    )
    buried_fence_h_per_100_m: float = setting(
        6.0, "Labour, pipe buried along a fence, trenched by machine [h].", COMMON_PRACTICE, ge=0
    )
    buried_track_h_per_100_m: float = setting(
        9.0, "Labour, pipe buried along a track, made good [h].", COMMON_PRACTICE, ge=0
    )
    buried_open_ground_h_per_100_m: float = setting(
        5.0, "Labour, pipe buried across open ground [h].", COMMON_PRACTICE, ge=0
    )
    joint_h: float = setting(0.2, "Labour for a coupler or a tee [h].", COMMON_PRACTICE, ge=0)
    fitting_h: float = setting(
        0.75, "Labour for a valve, drain, washout or meter [h].", COMMON_PRACTICE, ge=0
    )
    outlet_h: float = setting(1.5, "Labour for an outlet [h].", COMMON_PRACTICE, ge=0)
    fixed_trough_h: float = setting(
        3.0, "Labour for a fixed trough on its base [h].", COMMON_PRACTICE, ge=0
    )
    track_crossing_h: float = setting(
        4.0, "Labour for a crossing of a track [h].", COMMON_PRACTICE, ge=0
    )
    watercourse_crossing_h: float = setting(
        6.0, "Labour for a crossing of a watercourse [h].", COMMON_PRACTICE, ge=0
    )
    source_h: float = setting(6.0, "Labour at the source [h].", COMMON_PRACTICE, ge=0)
    tank_h: float = setting(12.0, "Labour for a tank on its base [h].", COMMON_PRACTICE, ge=0)
    pump_h: float = setting(8.0, "Labour for a pump [h].", COMMON_PRACTICE, ge=0)
    break_tank_h: float = setting(6.0, "Labour for a break tank [h].", COMMON_PRACTICE, ge=0)
    contingency_share: float = setting(
        0.10, "Share added for what cannot be foreseen.", COMMON_PRACTICE, ge=0, le=1
    )
    tax_name: str = setting("Tax", "Name of the tax on sales, as the schedule prints it.")
    tax_share: float = setting(0.0, "Share of that tax.", ge=0, le=1)
    budget: float | None = setting(
        None,
        "Most that may be spent, contingency and tax in it and no grant taken off; left out, no "
        "limit.",
        gt=0,
    )
    order_by: Literal["ground", "stock"] = setting(
        "ground",
        "What the order of building and a budget go by: grazed ground that gets water, or the "
        "water its stock need.",
    )
    most_stages: int = setting(
        8, "Most stages that the building is parted into.", COMMON_PRACTICE, ge=1, le=100
    )
    holder: dict[str, Holder] = setting(
        {},
        "Who holds what, by code, first part of a code, or heading: landlord, tenant or portable. "
        "Left out, by the price list, then by tenure, laying and kind of trough.",
    )
    term_years: int = setting(20, "Years over which costs are added up.", COMMON_PRACTICE, ge=1,
                              le=100)  # fmt: skip
    discount_rate: float = setting(
        0.035,
        "Yearly rate at which later costs count less, prices held constant.",
        "HM Treasury, The Green Book: social time preference rate 3.5 % (from memory)",
        ge=0,
        le=0.5,
    )
    grazing_days: int = setting(
        200,
        "Days a year on which a mob without periods drinks from the scheme.",
        COMMON_PRACTICE,
        ge=0,
        le=366,
    )
    mean_day_share: float = setting(
        0.6, "Water of a mean day over that of the peak day.", COMMON_PRACTICE, ge=0, le=1
    )
    water_per_m3: float = setting(1.9, "Metered water from a main, a cubic metre.", INVENTED, ge=0)
    energy_per_kwh: float = setting(0.28, "Electricity, a kilowatt-hour.", INVENTED, ge=0)
    own_labour_per_h: float = setting(
        18.0, "Labour for hauling water and moving troughs, an hour.", INVENTED, ge=0
    )
    days_between_moves: float = setting(
        3.0, "Days from one move of a mobile trough to the next.", COMMON_PRACTICE, gt=0, le=366
    )
    move_h: float = setting(0.3, "Labour for one move [h].", COMMON_PRACTICE, ge=0, le=24)
