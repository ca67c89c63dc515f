"""Settings of how sure a plan is: what is simulated, what is tried, what is wanted."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from dewpond.base.settings.fields import COMMON_PRACTICE, Table, setting

Range = tuple[float, float]


def _range(low: float, high: float, description: str, source: str = COMMON_PRACTICE) -> Range:
    """Declare a range, low end first; TOML has lists where Python has tuples."""
    declared: Range = Field(
        default=(low, high),
        description=description,
        strict=False,
        json_schema_extra={"source": source},
    )
    return declared


class ConfidenceSettings(Table):
    """How sure a plan is, heights and demand being what they are: ``[confidence]``."""

    assess: bool | None = setting(
        None,
        "Whether to work it out; left out, yes for a plan of one holding, no in a comparison or a "
        "batch of many.",
    )
    simulations: int = setting(
        1000, "How many times the heights are drawn anew.", COMMON_PRACTICE, ge=100, le=100_000
    )
    random_state: int = setting(
        1, "Number that the draws start from; the same number gives the same figures.", ge=0
    )
    wanted: float = setting(
        0.9,
        "Chance that each outlet is to work with, for the safer design that is priced beside the "
        "plan.",
        COMMON_PRACTICE,
        ge=0.5,
        lt=1,
    )
    size_for: Literal["best guess", "wanted chance"] = setting(
        "best guess",
        "What the pipe of the plan is sized for: the heights as they are best known, or so that "
        "each outlet works with the wanted chance, where pipe can give it.",
    )
    survey_points: int = setting(
        5, "How many spots to level on site are listed, best first.", COMMON_PRACTICE, ge=0, le=50
    )
    survey_deviation_m: float = setting(
        0.05,
        "Standard deviation of a level taken on site [m].",
        "common practice, no source: satellite receiver with corrections, or levelled from one",
        ge=0,
        le=2,
    )
    hot_day_factors: Range = _range(
        0.85, 1.2, "Demand on the hottest day over the demand planned for, low and high."
    )
    head_count_factors: Range = _range(
        0.9, 1.1, "Head of stock over the head planned for, low and high."
    )
    dry_summer_factors: Range = _range(
        0.6, 1.0, "Share of a main's measured flow that is left in a dry summer, low and high."
    )
    friction_factors: Range = _range(
        0.9, 1.2, "Head lost in the pipe over the loss worked out, low and high."
    )
    source_level_changes_m: Range = _range(
        -1.0, 0.5, "Level of the water at the source against the level planned with [m]."
    )

    @model_validator(mode="after")
    def _check_ranges(self) -> ConfidenceSettings:
        for name, factor in (
            ("hot_day_factors", True),
            ("head_count_factors", True),
            ("dry_summer_factors", True),
            ("friction_factors", True),
            ("source_level_changes_m", False),
        ):
            low, high = getattr(self, name)
            if low > high or (factor and low <= 0):
                least = " and above zero" if factor else ""
                raise ValueError(f"{name} must be low, then high{least}")
        return self
