"""Published equations for the water that stock take in: pure functions of numbers or arrays.

Figures of total water count what comes in with the feed; a scheme is designed for dry feed, so
the step takes nothing off for it.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

SHRUNK_SHARE = 0.96
"""Shrunk body weight as a share of live weight, NASEM 2016."""


# Where the equation turns in weight and in index at once: d/dw = 0 and d/di = 0 of eq. 19-105.
_SADDLE_KG = (0.0805 * 0.0822 + 0.0023268 * 1.225) / (0.00016 * 0.0822 + 0.0023268**2)


def effective_temperature(
    air_temperature_c: npt.ArrayLike,
    relative_humidity_percent: npt.ArrayLike,
    wind_speed_m_s: npt.ArrayLike,
    sunshine_hours: npt.ArrayLike,
) -> FloatArray:
    """Return the current effective temperature index that cattle feel.

    Parameters
    ----------
    air_temperature_c : array_like
        Mean air temperature of the day [°C].
    relative_humidity_percent : array_like
        Relative humidity [%].
    wind_speed_m_s : array_like
        Wind speed [m/s].
    sunshine_hours : array_like
        Hours of sun in the day.

    Returns
    -------
    array of float
        The index, near the air temperature in mild weather.

    Notes
    -----
    Validity: growing and finishing cattle; no range of weather is printed with it.

    Source: NASEM, *Nutrient Requirements of Beef Cattle*, 8th ed. 2016, eq. 19-103 (seen at
    second hand, with its worked example).
    """
    t = np.asarray(air_temperature_c, float)
    humidity = np.asarray(relative_humidity_percent, float)
    wind = np.asarray(wind_speed_m_s, float)
    index = (
        27.88
        - 0.456 * t
        + 0.010754 * t**2
        - 0.4905 * humidity
        + 0.00088 * humidity**2
        + 1.1507 * wind
        - 0.126447 * wind**2
        + 0.019867 * t * humidity
        - 0.046313 * t * wind
        + 0.41267 * np.asarray(sunshine_hours, float)
    )
    return np.asarray(index, float)


def lowest_effective_temperature(shrunk_weight_kg: npt.ArrayLike) -> FloatArray:
    """Return the index below which `beef_water_l` would rise again as it gets colder.

    Above `_SADDLE_KG` the weight of the equation is itself held, and the index with it.
    """
    weight = np.minimum(shrunk_weight_kg, _SADDLE_KG)
    return np.asarray((1.225 - 0.0023268 * weight) / 0.0822, float)


def beef_water_l(
    shrunk_weight_kg: npt.ArrayLike, effective_temperature_index: npt.ArrayLike
) -> FloatArray:
    """Return the water that growing and finishing cattle drink [L/head/day].

    Parameters
    ----------
    shrunk_weight_kg : array_like
        Shrunk body weight [kg], `SHRUNK_SHARE` of live weight.
    effective_temperature_index : array_like
        From `effective_temperature`.

    Returns
    -------
    array of float
        Water intake [L/head/day].

    Notes
    -----
    Validity: growing and finishing cattle; not fitted for cows with a calf at foot. The equation
    is a parabola in both terms: the index is held at `lowest_effective_temperature` and the
    weight where intake would begin to fall with it, so that neither more heat nor more weight
    ever lowers the figure.

    Source: NASEM 2016, eq. 19-105 (seen at second hand, with its worked example).
    """
    weight = np.asarray(shrunk_weight_kg, float)
    index = np.maximum(effective_temperature_index, lowest_effective_temperature(weight))
    weight = np.minimum(weight, (0.0805 + 0.0023268 * index) / 0.00016)
    intake = (
        7.3
        + 0.0805 * weight
        - 0.00008 * weight**2
        - 1.225 * index
        + 0.0411 * index**2
        + 0.0023268 * weight * index
    )
    return np.asarray(intake, float)


def cattle_water_per_dry_matter(air_temperature_c: npt.ArrayLike) -> FloatArray:
    """Return total water for each kilogram of dry matter eaten by cattle [L/kg].

    Notes
    -----
    Validity: European cattle, 4 to 38 °C; the original curves are flat below about 4 °C. Feed
    water is in the figure.

    Source: a later exponential fit to the curves of Winchester & Morris 1956, *J. Anim. Sci.*
    15:722 (seen at second hand; a fit with 0.01592 is also in use).
    """
    return np.asarray(3.413 + 0.01595 * np.exp(0.17596 * np.asarray(air_temperature_c, float)))


def ewe_water_kg(dry_matter_kg: npt.ArrayLike) -> FloatArray:
    """Return total water of a ewe that is not in lamb [kg/day].

    Notes
    -----
    Validity: about 15 °C. Water per kilogram of dry matter doubles from week 9 to week 19 of
    pregnancy. Held at zero where the line would fall below it.

    Source: Forbes 1968, *Br. J. Nutr.*, in the form used by NRC (coefficients from memory).
    """
    return np.asarray(np.maximum(3.86 * np.asarray(dry_matter_kg, float) - 0.99, 0.0))


def hair_sheep_water_kg(dry_matter_kg: npt.ArrayLike) -> FloatArray:
    """Return the water intake of hair sheep [kg/day].

    Notes
    -----
    Validity: hair sheep; 185 observations in 8 studies, R² 0.70.

    Source: Prediction of water intake in hair sheep, *Frontiers in Animal Science*, 2025.
    """
    return np.asarray(0.1282 + 2.4186 * np.asarray(dry_matter_kg, float))


def feed_water_kg(dry_matter_kg: npt.ArrayLike, dry_matter_share: npt.ArrayLike) -> FloatArray:
    """Return the water that comes in with the feed [kg/day], by mass balance.

    Parameters
    ----------
    dry_matter_kg : array_like
        Dry matter eaten [kg/day].
    dry_matter_share : array_like
        Dry matter as a share of the feed, more than 0, at most 1.
    """
    share = np.asarray(dry_matter_share, float)
    return np.asarray(np.asarray(dry_matter_kg, float) * (1.0 / share - 1.0))
