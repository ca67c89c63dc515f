"""A whole plan: every step's value, with totals and verdicts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from dewpond.base.model.breaks import Breaks
from dewpond.base.model.confidence import Confidence
from dewpond.base.model.costing import Costing
from dewpond.base.model.demand import Demand
from dewpond.base.model.ground import Candidates, Reach, Terrain
from dewpond.base.model.holding import Holding
from dewpond.base.model.layout import Corridors, Heads, Layout, Network, Siting
from dewpond.base.model.water import (
    Delivery,
    Flows,
    Intake,
    Isolation,
    Sizes,
    Supply,
    Watering,
)
from dewpond.base.settings import Project
from dewpond.base.words import words


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
        ``outlets``, ``pipe_m``, ``cost``, ``outlet_cost``, ``laying_cost``, ``pipe_cost``,
        ``worst_walk_m``, ``mean_walk_m``, ``covered_share``, ``grazed_area_ha``,
        ``daily_demand_l``, ``design_flow_l_min`` (leaving the source).
    verdicts : tuple of Verdict
    """

    totals: Mapping[str, float]
    verdicts: tuple[Verdict, ...]


@dataclass(frozen=True, eq=False)
class Scheme:
    """One source carried through to the trough: outlets, pipe, heads, flows, sizes and supply.

    Attributes
    ----------
    rounds : tuple of float
        Whole cost after the first choice and after each choice made again with the prices of the
        pipe sizes it had come to; the scheme itself is the cheapest of them that misses fewest
        requirements.
    costing : Costing or None
        The priced schedule.
    """

    layout: Layout
    siting: Siting
    network: Network
    heads: Heads
    watering: Watering
    flows: Flows
    intake: Intake
    sizes: Sizes
    delivery: Delivery
    isolation: Isolation
    supply: Supply
    appraisal: Appraisal
    rounds: tuple[float, ...] = ()
    costing: Costing | None = None

    @property
    def met(self) -> bool:
        """Whether every requirement is met."""
        return all(verdict.met for verdict in self.appraisal.verdicts)

    @property
    def warnings(self) -> tuple[str, ...]:
        """What the steps of this scheme want the reader to know, in their order."""
        steps = (
            self.layout, self.siting, self.network, self.heads, self.watering, self.intake,
            self.sizes, self.delivery, self.supply,
        )  # fmt: skip
        costed = () if self.costing is None else self.costing.warnings
        # A step hands on what a step before it had to say of the same thing: once is enough.
        own = [warning for step in steps for warning in step.warnings]
        return tuple(dict.fromkeys([*own, *costed]))


def best_scheme(schemes: Sequence[Scheme]) -> int:
    """Return the position of the scheme that misses fewest requirements, then costs least."""
    order = [
        (
            sum(not verdict.met for verdict in scheme.appraisal.verdicts),
            scheme.appraisal.totals["cost"],
        )
        for scheme in schemes
    ]
    return order.index(min(order))


@dataclass(frozen=True, eq=False)
class Plan:
    """One planned holding: the value of every step, and the scheme to build.

    Attributes
    ----------
    schemes : tuple of Scheme
        One for each source that was tried, in the order of the project file.
    chosen : int
        Position in `schemes` of the one to build: the one that misses fewest requirements, then
        the cheapest.
    breaks : Breaks or None
        Paddocks cut into breaks, watered from the chosen scheme; None where none were asked for.
    confidence : Confidence or None
        How sure the chosen scheme is; None where it was not asked.
    """

    project: Project
    holding: Holding
    terrain: Terrain
    demand: Demand
    candidates: Candidates
    reach: Reach
    corridors: Corridors
    schemes: tuple[Scheme, ...]
    chosen: int = 0
    versions: Mapping[str, str] = field(default_factory=dict)
    breaks: Breaks | None = None
    confidence: Confidence | None = None

    @property
    def scheme(self) -> Scheme:
        """The chosen scheme."""
        return self.schemes[self.chosen]

    @property
    def siting(self) -> Siting:
        """Outlets of the chosen scheme and what they reach."""
        return self.scheme.siting

    @property
    def network(self) -> Network:
        """Pipe tree of the chosen scheme."""
        return self.scheme.network

    @property
    def heads(self) -> Heads:
        """Static heads of the chosen scheme."""
        return self.scheme.heads

    @property
    def totals(self) -> Mapping[str, float]:
        """Figures of the whole holding, units in their names."""
        return self.scheme.appraisal.totals

    @property
    def verdicts(self) -> tuple[Verdict, ...]:
        """One verdict for each requirement, water in every break among them."""
        return self.scheme.appraisal.verdicts + self._break_verdict()

    @property
    def warnings(self) -> tuple[str, ...]:
        """Everything the steps want the reader to know, in the order of the steps."""
        ground = self.candidates.warnings + self.corridors.warnings
        own = self.holding.warnings + self.demand.warnings + ground + self.scheme.warnings
        late = [part.warnings for part in (self.breaks, self.confidence) if part is not None]
        return own + tuple(note for notes in late for note in notes if note not in own)

    @property
    def met(self) -> bool:
        """Whether every requirement is met."""
        return all(verdict.met for verdict in self.verdicts)

    def _break_verdict(self) -> tuple[Verdict, ...]:
        if self.breaks is None or self.breaks.breaks.empty:
            return ()
        breaks = self.breaks.breaks
        dry = list(breaks.loc[~breaks["watered"].astype(bool), "name"])
        return (
            Verdict(
                requirement=words("verdicts.plan.breaks_with_water"),
                figure=float(len(breaks) - len(dry)),
                limit=float(len(breaks)),
                unit="breaks",
                met=not dry,
                where=", ".join(dry),
                remedy="" if not dry else words("verdicts.plan.hose_lane_or_larger_breaks"),
            ),
        )

    def settings_used(self) -> dict[str, Any]:
        """Return every setting with the value used, defaults filled in, ready for JSON."""
        return self.project.model_dump(mode="json")
