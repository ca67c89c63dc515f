"""Settings of the command area: the ground that gravity serves from a source."""

from __future__ import annotations

from typing import Literal

from dewpond.base.settings.fields import COMMON_PRACTICE, Table, setting


class CommandAreaSettings(Table):
    """What gravity can reach, and where a tank would command paddocks: ``[command_area]``."""

    source: str | None = setting(
        None,
        "Name of the source; left out, that of [design], else the first with a level of its own.",
    )
    paddocks: Literal["all"] | list[str] = setting(
        "all", "Names of the paddocks to be commanded, or 'all' that are grazed."
    )
    flow_l_min: float | None = setting(
        None,
        "Flow wanted at the end of the pipe [L/min]; left out, that of the most demanding mob in "
        "those paddocks.",
        gt=0,
    )
    head_m: float | None = setting(
        None,
        "Head wanted there over the ground [m]; left out, what the float valve takes up at that "
        "flow.",
        ge=0,
    )
    material: str | None = setting(
        None, "Material of the pipe; left out, any of [pipe] materials."
    )
    outside_diameter_mm: float | None = setting(
        None,
        "Outside diameter of the pipe [mm]; left out, the least that loses no more than "
        "[supply] friction_allowance_m_per_100_m and keeps within the fastest flow.",
        gt=0,
    )
    pressure_class_bar: float | None = setting(
        None, "Its pressure class [bar]; left out, the strongest of its size.", gt=0
    )
    sdr: float | None = setting(
        None, "Its SDR, outside diameter over wall, instead of the class.", gt=0
    )
    share_wanted: float = setting(
        0.9,
        "Share of the ground of a paddock that must be served for it to be commanded; its trough "
        "then stands there.",
        COMMON_PRACTICE,
        gt=0,
        le=1,
    )
    length_factor: float = setting(
        1.5,
        "Length of pipe for a metre of the straight way over the ground; pipe along fences on "
        "three planned holdings came to 1.2, 1.6 and 2.0 (medians over the outlets).",
        COMMON_PRACTICE,
        ge=1,
        le=5,
    )
    cell_m: float | None = setting(
        None,
        "Cell of the raster [m]; left out, the posting of the heights, between 2 and 10 m.",
        gt=0,
        le=100,
    )
    tank_sites: int = setting(
        0, "How many places for a tank to look for; 0 looks for none.", ge=0, le=50
    )
