"""Several plans of one holding side by side: figures only, so that many fit in memory."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from dewpond.base.model.plan import Verdict


@dataclass(frozen=True)
class Change:
    """One setting that is otherwise than in the project file.

    Attributes
    ----------
    setting : str
        Table and key, ``design.walk_limit_m``; for mobs and sources with the name between.
    value, instead_of : str
        As they would stand in the project file; ``instead_of`` is empty where nothing stood.
    """

    setting: str
    value: str
    instead_of: str


@dataclass(frozen=True)
class Outcome:
    """What planning one setting came to.

    Attributes
    ----------
    name : str
    changes : tuple of Change
        Empty for the project as it stands.
    source : str
        Name of the source in use, empty where nothing was planned.
    totals : mapping of str to float
        As in `Appraisal`; empty where nothing was planned.
    verdicts : tuple of Verdict
    warnings : tuple of str
    gap : float
        Share of the price that is not proven necessary, NaN where nothing was planned.
    failure : str
        Why nothing was planned; empty otherwise.
    internal : bool
        Whether that was a fault of the program, not of the input.
    """

    name: str
    changes: tuple[Change, ...] = ()
    source: str = ""
    totals: Mapping[str, float] = field(default_factory=dict)
    verdicts: tuple[Verdict, ...] = ()
    warnings: tuple[str, ...] = ()
    gap: float = float("nan")
    failure: str = ""
    internal: bool = False

    @property
    def planned(self) -> bool:
        """Whether there is a plan."""
        return bool(self.totals)

    @property
    def met(self) -> bool:
        """Whether there is a plan that meets every requirement."""
        return self.planned and all(verdict.met for verdict in self.verdicts)

    @property
    def shortfalls(self) -> tuple[str, ...]:
        """Requirements that are not met."""
        return tuple(verdict.requirement for verdict in self.verdicts if not verdict.met)


@dataclass(frozen=True)
class Comparison:
    """Several plans of one holding side by side.

    Attributes
    ----------
    holding : str
    currency : str
        ISO 4217, of the project as it stands.
    outcomes : tuple of Outcome
        The first is the project as it stands.
    versions : mapping of str to str
        Versions of the libraries that can change a figure.
    units : {"metric", "US customary"}
        Units that documents print.
    """

    holding: str
    currency: str
    outcomes: tuple[Outcome, ...]
    versions: Mapping[str, str] = field(default_factory=dict)
    units: Literal["metric", "US customary"] = "metric"

    @property
    def met(self) -> bool:
        """Whether every setting was planned and meets every requirement."""
        return all(outcome.met for outcome in self.outcomes)
