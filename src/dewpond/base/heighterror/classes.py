"""The published error of each class of elevation data, and what is taken where none is named."""

from __future__ import annotations

from functools import lru_cache

import pandas as pd

from dewpond.base.heighterror.model import HeightError
from dewpond.base.settings import TerrainSettings
from dewpond.base.tables import Column, packaged_table
from dewpond.base.words import words

_PER_DEVIATION = {"RMSE": 1.0, "LE90": 1.6449, "LE95": 1.9600}
"""What each statistic is in standard deviations of a normal error with mean zero."""

_QUANTITIES = (
    "height", "difference", "difference on steep ground", "short range", "long range",
    "common share",
)  # fmt: skip
_COLUMNS = {
    "data_class": Column(),
    "quantity": Column(choices=_QUANTITIES),
    "statistic": Column(choices=(*_PER_DEVIATION, "practical range", "share of variance")),
    "value": Column("number", least=0),
    "unit": Column(choices=("m", "1")),
    "evidence": Column(choices=("seen", "memory", "inferred", "none")),
    "source": Column(),
}

_BY_POSTING: tuple[tuple[float, str], ...] = (
    (2.5, "fine raster of unknown make"),
    (15.0, "national terrain 5 m"),
    (float("inf"), "national terrain 50 m"),
)
"""Class taken up to each posting [m]: the one with the largest errors that is usual at that
posting; common practice, no source."""


def height_error(settings: TerrainSettings, posting_m: float) -> HeightError:
    """Return the error of the heights, from the settings or as published for their class.

    Parameters
    ----------
    settings : TerrainSettings
        ``height_data`` names the class; ``height_standard_deviation_m``,
        ``correlation_length_m``, ``long_correlation_length_m`` and ``height_long_share`` go
        before its figures. A correlation length without a class and without a share means one
        range alone: a long share of zero.
    posting_m : float
        Spacing of the raster [m], by which a class is taken where none is named.
    """
    name = settings.height_data or class_of_posting(posting_m)
    usual = published_error(name)
    share = settings.height_long_share
    if share is None:
        alone = settings.correlation_length_m is not None and settings.height_data is None
        share = 0.0 if alone else usual.long_share
    set_here = (
        settings.height_standard_deviation_m, settings.correlation_length_m,
        settings.long_correlation_length_m, settings.height_long_share,
    )  # fmt: skip
    source = usual.source
    if any(value is not None for value in set_here):
        source = f"[terrain] of the project file; for the rest, {usual.source}"
    return HeightError(
        settings.height_standard_deviation_m or usual.standard_deviation_m,
        settings.correlation_length_m or usual.short_range_m,
        settings.long_correlation_length_m or usual.long_range_m,
        share,
        usual.steep_factor,
        name,
        source,
    )


def assumed_class(settings: TerrainSettings) -> bool:
    """Return whether nothing in the settings says how far out the heights are."""
    return settings.height_data is None and settings.height_standard_deviation_m is None


def assumption(settings: TerrainSettings, error: HeightError) -> str:
    """Return a warning where nothing in the settings says how far out the heights are, else ""."""
    if not assumed_class(settings):
        return ""
    return words(
        "levels.assumed", data_class=error.data_class, deviation_m=error.standard_deviation_m
    )


def class_of_posting(posting_m: float) -> str:
    """Return the class taken for a raster of which only its posting [m] is known."""
    return next(name for limit_m, name in _BY_POSTING if posting_m <= limit_m)


@lru_cache(maxsize=32)
def published_error(data_class: str) -> HeightError:
    """Return the error of a class as its published figures give it.

    A figure for differences between points gives the share common to both,
    ``1 - σ_difference² / (2 σ²)``, and one for steep ground the factor there. That, and the
    ranges, are inferred from the specification: no spatial model is published with the data.

    Raises
    ------
    KeyError
        When no such class is in the table.
    """
    rows = _table().loc[data_class]
    value = dict(zip(rows["quantity"], _standard_deviations(rows), strict=True))
    share = value.get("common share")
    if share is None:
        share = 1 - value["difference"] ** 2 / (2 * value["height"] ** 2)
    steep = 1.0
    if "difference on steep ground" in value:
        steep = value["difference on steep ground"] / value["difference"]
    source = "; ".join(dict.fromkeys(rows["source"]))
    return HeightError(
        value["height"], value["short range"], value["long range"], share, steep, data_class,
        source,
    )  # fmt: skip


def data_classes() -> tuple[str, ...]:
    """Return the names of the classes in the table."""
    return tuple(dict.fromkeys(_table().index))


def _standard_deviations(rows: pd.DataFrame) -> list[float]:
    return [
        value / _PER_DEVIATION.get(statistic, 1.0)
        for value, statistic in zip(rows["value"], rows["statistic"], strict=True)
    ]


@lru_cache(maxsize=1)
def _table() -> pd.DataFrame:
    return packaged_table("height_error.csv", _COLUMNS).set_index("data_class")
