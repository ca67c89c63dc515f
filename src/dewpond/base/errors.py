"""The root error of the package, its children, and the fault that each of them reports."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Fault:
    """One thing wrong with the input, in words a land agent can act on.

    Attributes
    ----------
    where : str
        File, feature and field, for instance ``paddocks.geojson, feature 3 ("Top Field")``.
    problem : str
        What is wrong, as a short sentence without a full stop.
    found, expected, remedy : str
        What stood there, what should stand there, and what to do; empty when it goes without
        saying.
    """

    where: str
    problem: str
    found: str = ""
    expected: str = ""
    remedy: str = ""

    def __str__(self) -> str:
        parts = [f"{self.where}: {self.problem}"]
        if self.found:
            parts.append(f"found {self.found}")
        if self.expected:
            parts.append(f"expected {self.expected}")
        if self.remedy:
            parts.append(self.remedy)
        return "; ".join(parts)


class DewpondError(Exception):
    """Root of every error the package raises on purpose."""


class InputError(DewpondError, ValueError):
    """One or more faults in the project file or the data it names, all reported at once."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


class SolverError(DewpondError, RuntimeError):
    """The optimiser stopped without a usable answer; says with which status."""


class OutputError(DewpondError, OSError):
    """A result could not be written; nothing half-written is left behind."""


_MOST_NAMES = 12


def nearest_name(name: str, valid: Iterable[str]) -> str:
    """Return ``'did you mean "x"?'`` for the closest of the valid names, or list them.

    >>> nearest_name("Top Feild", ["Top Field", "Low Field"])
    'did you mean "Top Field"?'
    >>> nearest_name("zzz", ["Top Field", "Low Field"])
    'valid names: Top Field, Low Field'
    """
    names = list(dict.fromkeys(str(item) for item in valid))
    lowered = {item.lower(): item for item in reversed(names)}
    close = difflib.get_close_matches(str(name).lower(), list(lowered), n=1, cutoff=0.6)
    if close:
        return f'did you mean "{lowered[close[0]]}"?'
    if not names:
        return ""
    more = f" and {len(names) - _MOST_NAMES} more" if len(names) > _MOST_NAMES else ""
    return "valid names: " + ", ".join(names[:_MOST_NAMES]) + more
