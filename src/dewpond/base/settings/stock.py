"""Settings of the stock and of the water that serves it: mobs and sources."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from dewpond.base.settings.fields import COMMON_PRACTICE, Table, setting
from dewpond.base.settings.water import BucketSettings, PumpSettings

Species = Literal["cattle", "sheep", "goats", "horses"]
SourceKind = Literal["mains", "header_tank", "spring", "borehole", "surface_water", "bowser"]


class PeriodSettings(Table):
    """What is different about a mob in some months: ``[[mob.period]]``."""

    months: list[Annotated[int, Field(ge=1, le=12)]] = Field(
        min_length=1, description="Months of the year, 1 to 12."
    )
    head: int | None = setting(
        None,
        "Number of animals drinking, 0 when the mob is away; left out, that of the mob.",
        ge=0,
    )
    weight_kg: float | None = setting(
        None, "Live weight of one [kg]; left out, that of the mob.", gt=0, le=1500
    )
    lactating: bool | None = setting(None, "In milk; left out, as the mob.")
    paddocks: Literal["all"] | list[str] | None = setting(
        None, "Paddocks grazed then, by name; left out, those of the mob."
    )
    young_head: int = setting(0, "Young that run with the mob.", ge=0)
    young_weight_kg: float | None = setting(
        None, "Live weight of one of them [kg].", gt=0, le=1500
    )

    @model_validator(mode="after")
    def _check_young(self) -> PeriodSettings:
        if self.young_head and self.young_weight_kg is None:
            raise ValueError("young_head needs young_weight_kg")
        if len(set(self.months)) < len(self.months):
            raise ValueError("a month stands twice in months")
        return self


class MobSettings(Table):
    """A group of stock that is moved as one: ``[[mob]]``."""

    name: str = Field(min_length=1, description="Name of the mob.")
    species: Species = Field(description="cattle, sheep, goats or horses.")
    head: Annotated[int, Field(gt=0, description="Number of animals drinking.")]
    weight_kg: Annotated[float, Field(gt=0, le=1500, description="Live weight of one [kg].")]
    lactating: bool = setting(False, "In milk; young at foot are included in the figure.")
    stock_class: str | None = setting(
        None, "Class in the chosen demand table, when its name cannot be told from the rest."
    )
    paddocks: Literal["all"] | list[str] = setting("all", "Paddocks the mob grazes, by name.")
    trough: Literal["mobile", "fixed"] | None = setting(
        None, "Trough for this mob; left out, that of [design]."
    )
    young_born_month: int | None = setting(
        None,
        "Month in which its young are born, 1 to 12; left out, the young of a period always count "
        "apart.",
        ge=1,
        le=12,
    )
    young_counted_apart_after_months: int = setting(
        6,
        "Age from which young drink besides what the figure of a mob in milk holds for them.",
        COMMON_PRACTICE,
        ge=0,
        le=12,
    )
    period: list[PeriodSettings] = setting(
        [], "What is different in some months, one table each; other months as above."
    )

    @model_validator(mode="after")
    def _check_months(self) -> MobSettings:
        months = [month for period in self.period for month in period.months]
        twice = sorted({month for month in months if months.count(month) > 1})
        if twice:
            raise ValueError(
                "periods overlap in month " + ", ".join(map(str, twice)) + "; each month belongs "
                "to one period at most"
            )
        if len(months) == 12 and all(period.head == 0 for period in self.period):
            raise ValueError("the mob is away all year; leave it out")
        return self


class SourceSettings(Table):
    """A place that water can come from: ``[[source]]``."""

    name: str = Field(min_length=1, description="Name of the source.")
    kind: SourceKind = Field(
        description="mains, header_tank, spring, borehole, surface_water or bowser."
    )
    at: tuple[float, float] = Field(
        description="Longitude and latitude, or easting and northing in `crs`.", strict=False
    )
    crs: str = setting("EPSG:4326", "CRS of `at`.")
    level_m: float | None = setting(
        None,
        "Ground level at the source, in the datum of the elevation [m]; else from the raster.",
    )
    level_datum: str | None = setting(None, "Height datum of level_m.")
    height_above_ground_m: float | None = setting(
        None, "Height of the water surface over the ground at the source [m].", ge=0
    )
    static_pressure_bar: float | None = setting(
        None, "Pressure at the source with no flow [bar].", ge=0, le=40
    )
    bucket_l: float | None = setting(None, "Volume of the timed bucket [L].", gt=0)
    bucket_s: float | None = setting(None, "Time in which it filled [s].", gt=0)

    bucket: list[BucketSettings] = setting([], "Timed buckets, one table each.")
    yield_l_day: float | None = setting(None, "Most it can give in a day, dry season [L].", gt=0)
    yield_l_min: float | None = setting(None, "Steady flow it gives, dry season [L/min].", gt=0)
    tank_volume_l: float | None = setting(None, "Volume of the tank that is there [L].", gt=0)
    fed_by: str | None = setting(None, "Name of the source that fills this tank.")
    pump: PumpSettings | None = setting(None, "The pump, where there is one.")

    @model_validator(mode="after")
    def _check_bucket(self) -> SourceSettings:
        if (self.bucket_l is None) != (self.bucket_s is None):
            raise ValueError("a timed bucket needs both bucket_l and bucket_s")
        return self
