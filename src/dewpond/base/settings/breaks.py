"""Settings of subdivided fields: breaks behind temporary fence, each with water."""

from __future__ import annotations

from typing import Literal

from pydantic import model_validator

from dewpond.base.settings.fields import COMMON_PRACTICE, Table, setting


class BreaksSettings(Table):
    """Paddocks cut into breaks by temporary fence, each with water: ``[breaks]``."""

    paddocks: Literal["all"] | list[str] = setting(
        "all", "Names of the paddocks to cut, or 'all' that are grazed."
    )
    target_ha: float | None = setting(
        None, "Size of a break [ha], met as nearly as equal breaks allow.", gt=0
    )
    moves: int | None = setting(
        None, "Breaks in each paddock, instead of a size: one move on to each.", ge=1, le=200
    )
    water_by: Literal["hose", "lane"] | None = setting(
        None,
        "hose: the trough moves into each break on a hose from an outlet; lane: stock walk back "
        "to the outlet along a lane; left out, hose with mobile troughs, lane with fixed ones.",
    )
    hose_m: float = setting(
        100.0, "Longest hose from an outlet to a trough [m].", COMMON_PRACTICE, ge=0, le=500
    )
    lane_width_m: float = setting(6.0, "Width of the lane [m].", COMMON_PRACTICE, gt=0, le=50)
    strips: Literal["nearest water", "across the long side", "square to the water fence"] = (
        setting(
            "nearest water",
            "How breaks lie: across the long side of the paddock; square to a fence with an "
            "outlet on it; or whichever of these waters most breaks with the least hose and walk.",
            COMMON_PRACTICE,
        )
    )
    herbage_kg_ha: float | None = setting(
        None, "Dry matter standing on the ground [kg/ha]; gives the days on each break.", gt=0
    )
    used_share: float = setting(
        0.5, "Share of the herbage that the stock eat before they move.", COMMON_PRACTICE, gt=0,
        le=1,
    )  # fmt: skip
    intake_share: float = setting(
        0.025, "Dry matter eaten a day as a share of live weight.", COMMON_PRACTICE, gt=0, le=0.1
    )
    days: float = setting(
        1.0, "Days on each break where no herbage is given.", COMMON_PRACTICE, gt=0, le=60
    )

    @model_validator(mode="after")
    def _check_size(self) -> BreaksSettings:
        if (self.target_ha is None) == (self.moves is None):
            raise ValueError("give either target_ha or moves")
        return self
