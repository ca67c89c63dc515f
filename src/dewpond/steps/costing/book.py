"""The book of quantities: one entry for each quantity counted from features."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

from dewpond.base.price_list import Price, family_of
from dewpond.base.words import words
from dewpond.steps.costing.facts import Facts
from dewpond.steps.costing.places import Places

SOURCE = "source"
"""The element that everything is built on: the works at the source."""

_ON_THE_GROUND = frozenset(
    ("pipe", "tee", "coupler", "connector", "stop-valve", "stop-tap", "hose-coupling", "air-valve",
     "washout", "drain", "float-valve", "lay-fence", "lay-track", "lay-open-ground", "labour")
)  # fmt: skip
"""Families that lie loose where pipe is laid on the ground, and that a tenant may take up."""


@dataclass(frozen=True)
class Entry:
    """One quantity counted from features.

    Attributes
    ----------
    work, code, description, unit : str
    rate, quantity, measured : float
        `measured` is the quantity before laps and waste.
    features : tuple of str
        Names of the features of the plan that it is counted from.
    element : str
        What it is built with: "source", the name of a pipe or of an outlet, "mob NAME".
    holder : str
    parcels : tuple of str
    life_years : float
        NaN where it is not replaced.
    price_source : str
    """

    work: str
    code: str
    description: str
    unit: str
    rate: float
    quantity: float
    measured: float
    features: tuple[str, ...]
    element: str
    holder: str
    parcels: tuple[str, ...]
    life_years: float
    price_source: str


@dataclass(eq=False)
class Book:
    """Entries as they are counted, with what the reader should know of them."""

    facts: Facts
    places: Places
    entries: list[Entry] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)

    def add(
        self,
        work: str,
        code: str | Price,
        quantity: float,
        features: Sequence[str],
        element: str,
        *,
        measured: float | None = None,
        description: str = "",
        beside: str = "",
    ) -> None:
        """Count a quantity from features, nothing where it is none.

        Parameters
        ----------
        beside : str
            First part of the code of what it belongs to, or is spent on, whose holder it takes.
        """
        if not quantity > 0.0:
            return
        price = self.facts.prices.prices[code] if isinstance(code, str) else code
        self.entries.append(
            Entry(
                work, price.code, description or price.description, price.unit, price.rate,
                quantity, quantity if measured is None else measured, tuple(features), element,
                self._holder(work, price, features, beside), self.places.parcels_under(features),
                price.life_years, price.source,
            )
        )  # fmt: skip

    def add_sized(
        self,
        work: str,
        family: str,
        size: float,
        quantity: float,
        features: Sequence[str],
        element: str,
        *,
        several: bool = False,
        beside: str = "",
    ) -> int:
        """Count the least size of a family that is large enough; return how many stand for one.

        Nothing is counted where the size is not known.
        """
        if not math.isfinite(size) or not quantity > 0.0:
            return 0
        price, count = self.facts.prices.sized(family, size, several=several)
        if not several and self.facts.prices.too_small(family, size):
            self.warnings.append(
                words("costing.too_small", what=price.description, feature=features[0],
                      needed=size)
            )  # fmt: skip
        self.add(work, price, count * quantity, features, element, beside=beside)
        return count

    def labour(
        self, task: str, hours: float, features: Sequence[str], element: str, beside: str
    ) -> None:
        """Count hours of labour, held by whoever holds what they are spent on."""
        description = words(f"costing.labour.{task}")
        self.add(
            "labour", "labour", hours, features, element, description=description, beside=beside
        )

    def _holder(self, work: str, price: Price, features: Sequence[str], beside: str) -> str:
        """Return who holds it: by the settings, the price list, then laying and tenure."""
        costing, prices = self.facts.settings.costing, self.facts.prices
        for name in (price.code, family_of(price.code), beside, work):
            if name in costing.holder:
                return costing.holder[name]
        listed = price.holder or prices.holder_of(beside)
        if listed:
            return listed
        tenure = self.places.tenure_of(features)
        if tenure in ("portable", "wayleave"):
            return "portable"
        loose = self.facts.settings.design.laying == "surface"
        on_the_ground = (beside or family_of(price.code)) in _ON_THE_GROUND
        return "tenant" if tenure == "rented" and loose and on_the_ground else "landlord"
