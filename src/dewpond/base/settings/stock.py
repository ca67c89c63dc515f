"""Settings of the stock and of the water that serves it: mobs and sources."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from dewpond.base.settings.fields import Table, setting
from dewpond.base.settings.water import BucketSettings, PumpSettings

Species = Literal["cattle", "sheep", "goats", "horses"]
SourceKind = Literal["mains", "header_tank", "spring", "borehole", "surface_water", "bowser"]


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
