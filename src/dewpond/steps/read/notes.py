"""What reading finds on the way, gathered so that all faults can be reported at once."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from dewpond.base.errors import Fault
from dewpond.base.units import SQUARE_METRES_PER_HECTARE
from dewpond.base.words import words as said


@dataclass(eq=False)
class Notes:
    """Faults, repairs, warnings and input digests; filled while reading, then frozen."""

    faults: list[Fault] = field(default_factory=list)
    repairs: list[str] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)
    inputs: dict[str, str] = field(default_factory=dict)
    credits: list[str] = field(default_factory=list)

    def fault(
        self, where: str, problem: str, found: str = "", expected: str = "", remedy: str = ""
    ) -> None:
        """Add one fault."""
        self.faults.append(Fault(where, problem, found, expected, remedy))

    def credit(self, text: str) -> None:
        """Add a credit line once."""
        if text.strip() and text.strip() not in self.credits:
            self.credits.append(text.strip())


def area_text(area_m2: float) -> str:
    """Spell an area the way a land agent would: hectares, or square metres when small.

    >>> area_text(12_345), area_text(1.7), area_text(250)
    ('1.23 ha', '1.7 m²', '250 m²')
    """
    if area_m2 >= 0.1 * SQUARE_METRES_PER_HECTARE:
        return said("data.notes.hectares", area_ha=area_m2 / SQUARE_METRES_PER_HECTARE)
    # Two significant figures below 10 m², without a zero at the end.
    decimals = 0 if area_m2 >= 10 else len(f"{max(area_m2, 1e-4):.2g}".partition(".")[2])
    return said("data.notes.small_area", area_m2=area_m2, decimals=decimals)


def listed(words: Iterable[str], most: int = 6) -> str:
    """Join words with commas, the tail of a long list counted instead of spelled.

    >>> listed("abcdefgh", most=3)
    'a, b, c and 5 more'
    """
    items = list(words)
    if len(items) <= most:
        return ", ".join(items)
    return ", ".join(items[:most]) + f" and {len(items) - most} more"
