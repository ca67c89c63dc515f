"""The templates of the proposal: escaped throughout, and none may name what it was not given."""

from __future__ import annotations

import base64
import hashlib
import math
from collections.abc import Iterable
from functools import lru_cache
from importlib.resources import files

from jinja2 import Environment, PackageLoader, StrictUndefined


@lru_cache(maxsize=1)
def environment() -> Environment:
    """Return the templates with their filters.

    Every template is escaped, whatever its name ends in; what stands in a script block passes
    through ``tojson``, and text inside the style sheet through ``css_text``.
    """
    made = Environment(
        loader=PackageLoader("dewpond.outputs.proposal", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    made.filters["css_text"] = css_text
    made.filters["listed"] = listed
    made.filters["chance"] = chance
    made.tests["known"] = known
    return made


def static(name: str) -> str:
    """Return a file of the templates that holds no value of the plan: style sheet or script."""
    path = files("dewpond.outputs.proposal").joinpath("templates", name)
    return path.read_text(encoding="utf-8")


def fingerprint(text: str) -> str:
    """Return what a content security policy names a script by: the only one it lets run."""
    digest = hashlib.sha256(text.encode("utf-8")).digest()
    return "sha256-" + base64.b64encode(digest).decode("ascii")


def css_text(text: object) -> str:
    """Return text as a string of a style sheet, every sign but plain letters by its number."""
    signs = (c if c.isascii() and c.isalnum() else f"\\{ord(c):x} " for c in str(text))
    return '"' + "".join(signs) + '"'


def listed(names: Iterable[object], last: str = ", ") -> str:
    """Return names in a row, the last joined by a word of the template's.

    >>> listed(["one", "two", "three"], " and ")
    'one, two and three'
    """
    texts = [str(name) for name in names]
    if len(texts) < 2:
        return "".join(texts)
    return ", ".join(texts[:-1]) + last + texts[-1]


def chance(share: float) -> tuple[int, int]:
    """Return a chance as so many cases of so many: of ten, near certainty of a hundred.

    Never all cases where it is not sure, and never none where it may happen.

    >>> chance(0.71), chance(0.968), chance(0.999), chance(1.0)
    ((7, 10), (97, 100), (99, 100), (100, 100))
    """
    if 0.05 < share < 0.945:
        return min(max(round(share * 10), 1), 9), 10
    hundred = round(share * 100)
    if share < 1:
        hundred = min(hundred, 99)
    return max(hundred, 1) if share > 0 else 0, 100


def known(value: object) -> bool:
    """Return whether there is a figure: neither missing nor without limit."""
    return isinstance(value, int | float) and math.isfinite(value)
