"""Round numbers for scales, bars, bands, steps and axes."""

from __future__ import annotations

import math

from matplotlib.axis import Axis
from matplotlib.ticker import AutoLocator, FuncFormatter

_MAP_SCALES = (1, 1.25, 1.5, 2, 2.5, 3, 4, 5, 6, 7.5, 10)
_STEPS = (1, 2, 2.5, 5, 10)
_BAND_STEPS = (1, 2, 2.5, 4, 5, 6, 7.5, 10)


def round_up(value: float, mantissas: tuple[float, ...] = _STEPS) -> float:
    """Return the least round number that is not below a positive value."""
    power = 10.0 ** math.floor(math.log10(value))
    return next(m * power for m in (*mantissas, 10) if m * power >= value * (1 - 1e-9))


def round_down(value: float) -> float:
    """Return the greatest of 1, 2, 5 times a power of ten that is not above a positive value."""
    power = 10.0 ** math.floor(math.log10(value) + 1e-12)
    return max(m * power for m in (1, 2, 5) if m * power <= value * (1 + 1e-9))


def map_scale(metres: float, inches: float) -> float:
    """Return the denominator of the largest round scale at which a length fits on paper."""
    return round_up(metres / (inches * 0.0254), _MAP_SCALES)


class _UnitLocator(AutoLocator):
    """Ticks that are round in another unit than that of the axis."""

    def __init__(self, unit: float) -> None:
        super().__init__()
        self._unit = unit

    def tick_values(self, vmin: float, vmax: float) -> list[float]:
        """Return ticks in the unit of the axis."""
        ticks = super().tick_values(vmin / self._unit, vmax / self._unit)
        return [float(tick) * self._unit for tick in ticks]


def label_in_unit(axis: Axis, unit: float) -> None:
    """Give an axis ticks that are round in a unit, with plain figures in it.

    Parameters
    ----------
    axis : Axis
    unit : float
        Length of that unit in the unit of the axis, 0.3048 for feet on an axis in metres.
    """
    axis.set_major_locator(_UnitLocator(unit))
    axis.set_major_formatter(FuncFormatter(lambda value, _: f"{round(value / unit, 6):g}"))


def walk_bands(limit_m: float) -> list[float]:
    """Return the edges of the bands of walking distance [m], from 0 to the limit.

    Four or five bands of one round width; a last sliver is joined to its neighbour.

    >>> walk_bands(400.0)
    [0.0, 100.0, 200.0, 300.0, 400.0]
    """
    step = round_up(limit_m / 5, _BAND_STEPS)
    edges = [step * i for i in range(math.ceil(limit_m / step - 1e-9))]
    if len(edges) > 1 and limit_m - edges[-1] < step / 4:
        edges.pop()
    return [*edges, limit_m]


def round_figure(value: float) -> str:
    """Return the edge of a band as it is written: whole above 10, no needless noughts below.

    >>> round_figure(1312.336), round_figure(0.2), round_figure(0.0)
    ('1,312', '0.2', '0')
    """
    return f"{value:,.0f}" if abs(value) >= 10 else f"{value:.3g}"
