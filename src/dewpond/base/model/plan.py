"""A whole plan: every step's value, with totals and verdicts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from dewpond.base.model.demand import Demand
from dewpond.base.model.ground import Candidates, Reach, Terrain
from dewpond.base.model.holding import Holding
from dewpond.base.model.layout import Corridors, Heads, Network, Siting
from dewpond.base.settings import Project


@dataclass(frozen=True)
class Verdict:
    """One requirement, the figure the plan reaches, and whether that is enough."""

    requirement: str
    figure: float
    limit: float
    unit: str
    met: bool
    where: str = ""
    remedy: str = ""


@dataclass(frozen=True)
class Appraisal:
    """What the plan amounts to.

    Attributes
    ----------
    totals : mapping of str to float
        ``outlets``, ``pipe_m``, ``cost``, ``worst_walk_m``, ``mean_walk_m``, ``covered_share``,
        ``grazed_area_ha``, ``daily_demand_l``.
    verdicts : tuple of Verdict
    """

    totals: Mapping[str, float]
    verdicts: tuple[Verdict, ...]


@dataclass(frozen=True, eq=False)
class Plan:
    """One planned holding: the value of every step, and the verdicts drawn from them."""

    project: Project
    holding: Holding
    terrain: Terrain
    demand: Demand
    candidates: Candidates
    reach: Reach
    corridors: Corridors
    siting: Siting
    network: Network
    heads: Heads
    appraisal: Appraisal
    versions: Mapping[str, str] = field(default_factory=dict)

    @property
    def totals(self) -> Mapping[str, float]:
        """Figures of the whole holding, units in their names."""
        return self.appraisal.totals

    @property
    def verdicts(self) -> tuple[Verdict, ...]:
        """One verdict for each requirement."""
        return self.appraisal.verdicts

    @property
    def warnings(self) -> tuple[str, ...]:
        """Everything the steps want the reader to know, in the order of the steps."""
        steps = (self.holding, self.demand, self.siting, self.network, self.heads)
        return tuple(warning for step in steps for warning in step.warnings)

    @property
    def met(self) -> bool:
        """Whether every requirement is met."""
        return all(verdict.met for verdict in self.verdicts)

    def settings_used(self) -> dict[str, Any]:
        """Return every setting with the value used, defaults filled in, ready for JSON."""
        return self.project.model_dump(mode="json")
