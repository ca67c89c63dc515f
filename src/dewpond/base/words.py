"""Sentences for the reader of a plan: they stand in ``dewpond/words``, none in the code.

Each file there is a TOML table of Jinja2 templates, one sentence a key. A key is asked for with
its file: ``words("remedies.larger_pump", power_w=550.0)``. Values are metric, always; filters of
the templates print them with their unit in the system in force, see `printing`.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from functools import lru_cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from dewpond.base.measures import Measures, Quantity

if TYPE_CHECKING:
    from jinja2 import Environment, Template

_METRIC = Measures("metric")
_MEASURES: ContextVar[Measures] = ContextVar("measures", default=_METRIC)
_SIGNIFICANT = 3
"""Figures to which a setting is converted: enough to know it by, no false exactness."""


@contextmanager
def printing(measures: Measures) -> Iterator[None]:
    """Print the sentences said within in these units; metric outside.

    A context and not an argument: any step may say a sentence, most of them deep within, and none
    of them works with units of print. Passed by hand, the choice would stand in the signature of
    nearly every function of the package, and one left out would print metric unseen. What enters
    it is what knows the project: planning, the command area and the writers of results.

    A new thread starts without it (``ThreadPoolExecutor`` hands no context on), and so does a new
    process: sentences are said by the thread that entered, and what plans in a process of its own
    enters there.

    Examples
    --------
    >>> with printing(Measures("US customary")):
    ...     words("works.raise_tank", raise_m=3.0)  # doctest: +SKIP
    'Raise the tank by 10 ft, on a stand or up the slope.'
    """
    token = _MEASURES.set(measures)
    try:
        yield
    finally:
        _MEASURES.reset(token)


def measures_in_force() -> Measures:
    """Return the units in which sentences are said now, metric where nothing else was asked."""
    return _MEASURES.get()


def words(key: str, **values: Any) -> str:
    """Return a sentence with its values filled in.

    Parameters
    ----------
    key : str
        File and name within it, ``"remedies.larger_pump"``; tables inside go on with dots.
    **values
        What the template names, quantities in metric units. The template prints them with their
        unit: ``{{ lack_m | head(1) }}`` gives 1.2 m or 4 ft. Without decimals,
        ``{{ limit_m | length }}`` prints a setting as it was set: 37.5 m, or 123 ft. So do
        ``level``, ``diameter`` (inches beside the millimetres pipe is sold by), ``depth`` (mm),
        ``area`` (ha), ``small_area`` (m²), ``volume``, ``bulk_volume`` (m³), ``flow``, ``speed``,
        ``pressure``, ``weight``, ``power`` and ``temperature``; ``unit_of("length")`` is the
        sign alone. Plain numbers: ``number(1)`` gives 1,234.5, ``fixed(1)`` the same without the
        comma and ``figures(3)`` three significant figures.

    Raises
    ------
    KeyError
        When there is no such sentence.
    jinja2.UndefinedError
        When the template names a value that was not given.
    """
    return _template(key).render(values)


@lru_cache(maxsize=4096)
def _template(key: str) -> Template:
    file, *names = key.split(".")
    entry: Any = _table(file)
    for name in names:
        entry = entry[name]
    return _environment().from_string(str(entry))


@lru_cache(maxsize=64)
def _table(file: str) -> Mapping[str, Any]:
    text = files("dewpond").joinpath("words", f"{file}.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


@lru_cache(maxsize=1)
def _environment() -> Environment:
    # Slow to import, and most commands never say a sentence.
    from jinja2 import Environment, StrictUndefined

    environment = Environment(undefined=StrictUndefined, autoescape=False)
    environment.filters["number"] = _number
    environment.filters["figures"] = _figures
    environment.filters["fixed"] = _fixed
    environment.filters.update({name: _measured(of) for name, of in _MEASURED.items()})
    environment.filters["diameter"] = _diameter
    environment.filters["temperature"] = lambda celsius: _MEASURES.get().temperature(celsius)
    environment.globals["unit_of"] = lambda quantity: _MEASURES.get().sign(quantity)
    return environment


_MEASURED: Mapping[str, Quantity] = {
    "length": "length", "level": "level", "head": "head", "area": "area", "volume": "volume",
    "bulk_volume": "bulk volume", "flow": "flow", "speed": "speed", "pressure": "pressure",
    "weight": "weight", "power": "power", "depth": "diameter",
    "small_area": "small area",
}  # fmt: skip
"""Filters by the quantity they print."""


_PARTED = ("volume", "weight", "power", "bulk volume")
"""Quantities whose thousands are parted by commas in metric sentences as well."""


def _measured(quantity: Quantity) -> Callable[..., str]:
    """Return the filter that prints a quantity with its unit, decimals as they stand in metric.

    The sign is left out of a figure that shares it with the next (``bare=true``).
    """

    def print_it(metric: float, decimals: int | None = None, *, bare: bool = False) -> str:
        measures, metric = _MEASURES.get(), float(metric)
        if decimals is None:
            figure = _as_set(measures, quantity, metric)
        elif measures.system == "metric":
            figure = f"{metric:{',' if quantity in _PARTED else ''}.{decimals}f}"
        else:
            decimals = _decimals(measures, quantity, metric, decimals)
            figure = measures.figure(quantity, metric, decimals)
        return figure if bare else f"{figure} {measures.sign(quantity)}"

    return print_it


def _as_set(measures: Measures, quantity: Quantity, metric: float) -> str:
    """Return a setting as it was set, or converted to three significant figures."""
    if measures.system == "metric":
        return f"{metric:.6g}"
    value = measures.value(quantity, metric)
    whole = len(str(int(abs(value)))) if abs(value) >= 1 else 0
    text = f"{value:,.{max(0, _SIGNIFICANT - whole)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _decimals(measures: Measures, quantity: Quantity, metric: float, decimals: int) -> int:
    """Return decimals to print: finer where metric is finer than usual, and never a false zero."""
    usual = Measures("metric").unit(quantity).decimals
    found = measures.unit(quantity).decimals + max(0, decimals - usual)
    value = abs(measures.value(quantity, metric))
    if round(abs(metric), decimals) == 0 or not math.isfinite(value):
        return found
    while round(value, found) == 0:
        found += 1
    return found


def _diameter(mm: float, decimals: int | None = None) -> str:
    """Return a diameter in millimetres, by which pipe is sold; the inches beside it."""
    text = f"{float(mm):.6g} mm" if decimals is None else f"{float(mm):,.{decimals}f} mm"
    measures = _MEASURES.get()
    return text if measures.system == "metric" else f"{text} ({measures.text('diameter', mm)})"


def _number(value: float, decimals: int = 0) -> str:
    return f"{float(value):,.{decimals}f}"


def _fixed(value: float, decimals: int = 0) -> str:
    return f"{float(value):.{decimals}f}"


def _figures(value: float, count: int = 4) -> str:
    return f"{float(value):.{count}g}"
