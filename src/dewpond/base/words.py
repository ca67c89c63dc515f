"""Sentences for the reader of a plan: they stand in ``dewpond/words``, none in the code.

Each file there is a TOML table of Jinja2 templates, one sentence a key. A key is asked for with
its file: ``words("remedies.larger_pump", power_w=550.0)``.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import lru_cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from jinja2 import Environment, Template


def words(key: str, **values: Any) -> str:
    """Return a sentence with its values filled in.

    Parameters
    ----------
    key : str
        File and name within it, ``"remedies.larger_pump"``; tables inside go on with dots.
    **values
        What the template names. Numbers are written by the template: ``{{ head_m | number(1) }}``
        gives 1,234.5, ``{{ head_m | fixed(1) }}`` the same without the comma, and
        ``{{ head_m | figures(3) }}`` three significant figures.

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
    return environment


def _number(value: float, decimals: int = 0) -> str:
    return f"{float(value):,.{decimals}f}"


def _fixed(value: float, decimals: int = 0) -> str:
    return f"{float(value):.{decimals}f}"


def _figures(value: float, count: int = 4) -> str:
    return f"{float(value):.{count}g}"
