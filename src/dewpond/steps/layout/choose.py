"""The joint choice of outlets and pipe for a holding, source by source."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from dewpond.base.jointdesign import JointDesign, JointLimits, JointProblem, design_jointly
from dewpond.base.model import Candidates, CellGroups, Corridors, Holding, Layout, Proof, Reach
from dewpond.base.progress import Progress
from dewpond.base.settings import DesignSettings, LayoutSettings, PricesSettings
from dewpond.steps.layout.options import IntArray, Options, gather_options, outlet_limits
from dewpond.steps.layout.remarks import (
    about_gap,
    about_limits,
    about_still_water,
    about_unjoined,
    about_useless,
)
from dewpond.steps.layout.still_water import (
    HighGround,
    Ways,
    heed_still_water,
    high_ground,
    ways_from,
)


def lay_out(
    holding: Holding,
    candidates: Candidates,
    reach: Reach,
    groups: CellGroups,
    corridors: Corridors,
    layout: LayoutSettings,
    design: DesignSettings,
    prices: PricesSettings,
    *,
    source: int | None = None,
    start: Layout | None = None,
    progress: Progress | None = None,
) -> Layout:
    """Choose outlets and the pipe that joins them to a source at least whole price.

    Every grazed cell that an allowed and joined site has in reach is served by one. Ground that
    none can serve is marked, never a reason to fail. Sites and ways above the still water of the
    source are not taken where others serve the same ground.

    Parameters
    ----------
    holding : Holding
        Tenure of its paddocks, preferred ground, sources and heights.
    candidates, reach, groups, corridors
        Sites, walks from them [m], cells that ask for the same, and the priced ways for pipe.
    layout : LayoutSettings
        Wishes, and the limits of the search: counts, and a wall time as a last resort.
    design : DesignSettings
        What troughs and laying the tenure of ground must bear.
    prices : PricesSettings
        Of an outlet and a wayleave; pipe is priced in the corridors.
    source : int, optional
        Position in ``holding.sources``. Left out, each is tried, and the one that serves most
        ground is taken; of several that serve as much, the cheapest.
    start : Layout, optional
        A layout to begin from, of the same ground at other prices.
    progress : callable, optional
        Told the share of the work that is done.

    Returns
    -------
    Layout
        With the whole price and a bound that no other scheme on these sites and corridors
        undercuts.

    Raises
    ------
    SolverError
        When the linear programme fails.
    """
    options = gather_options(holding, candidates, corridors, layout, design, prices)
    positions = range(len(holding.sources)) if source is None else [source]
    task = _Task(holding, candidates, reach, corridors, layout, groups, options, start)
    found = [
        task.from_source(position, _part(progress, turn, len(positions)))
        for turn, position in enumerate(positions)
    ]
    return _best(found, reach)


@dataclass(frozen=True, eq=False)
class _Task:
    """All that the choice from each source has in common."""

    holding: Holding
    candidates: Candidates
    reach: Reach
    corridors: Corridors
    layout: LayoutSettings
    groups: CellGroups
    options: Options
    start: Layout | None

    def from_source(self, source: int, progress: Progress | None) -> Layout:
        """Return the layout fed by one source."""
        ways = ways_from(self.corridors, source, len(self.candidates.sites))
        high = high_ground(self.holding, self.candidates, self.corridors, self.layout, source)
        options = heed_still_water(self.options, high, ways, self.groups.sites, self.layout)
        kept = np.flatnonzero(options.edge_open)
        problem = self._problem(options, ways, kept)
        chosen = design_jointly(problem, _limits(self.layout), progress=progress)
        return self._layout(source, options, high, chosen, kept[chosen.edges])

    def _problem(self, options: Options, ways: Ways, kept: IntArray) -> JointProblem:
        limits = outlet_limits(self.holding, self.candidates, self.layout)
        matrix, lower, upper = limits if limits is not None else (None, None, None)
        return JointProblem(
            n_nodes=ways.n_nodes,
            edges=ways.ends[kept],
            edge_cost=(options.edge_price + options.edge_extra)[kept],
            site_node=ways.node_of_site,
            site_cost=options.site_price + options.site_extra,
            root_node=np.array([ways.root]),
            groups=self.groups.sites,
            forced_sites=np.flatnonzero(options.site_forced),
            forbidden_sites=np.flatnonzero(~options.site_open),
            limit_matrix=matrix,
            limit_lower=lower,
            limit_upper=upper,
            walk_m=self.groups.walk,
            start_sites=np.array(self.start.sites if self.start else (), dtype=np.int64),
            start_edges=np.flatnonzero(np.isin(kept, self.start.edges if self.start else ())),
        )

    def _layout(
        self,
        source: int,
        options: Options,
        high: HighGround,
        chosen: JointDesign,
        edges: IntArray,
    ) -> Layout:
        sites = np.sort(chosen.sites)
        outlet_cost = float(options.site_price[sites].sum())
        pipe_cost = float(options.edge_price[edges].sum())
        dry = np.zeros(self.groups.sites.shape[0], dtype=np.bool_)
        dry[chosen.unreachable_groups] = True
        unreachable = (self.groups.of_cell < 0) | self.groups.cells_in(dry)
        name = self.holding.sources[source].name
        proof = _proof(outlet_cost + pipe_cost, chosen)
        warnings = [
            *about_useless(self.holding, self.candidates),
            *about_unjoined(self.candidates, chosen.unreachable_sites, name),
            *about_limits(self.holding, chosen.broken_limits, self.layout),
            *about_still_water(self.corridors, sites, edges, high, name),
            *about_gap(proof, chosen, self.layout, name),
        ]
        return Layout(
            source=source,
            sites=tuple(sites.tolist()),
            edges=tuple(np.sort(edges).tolist()),
            outlet_cost=outlet_cost,
            pipe_cost=pipe_cost,
            proof=proof,
            reproducible=chosen.reproducible,
            unreachable=unreachable,
            unconnected=tuple(chosen.unreachable_sites.tolist()),
            warnings=tuple(warnings),
        )


def _limits(layout: LayoutSettings) -> JointLimits:
    return JointLimits(
        gap=layout.optimality_gap,
        rounds=layout.cut_rounds,
        nodes=layout.node_limit,
        restarts=layout.restarts,
        seconds=layout.time_limit_s,
    )


def _proof(value: float, chosen: JointDesign) -> Proof:
    """Return the proof in price, without what only leaned the choice one way or the other.

    Every scheme that leans on high ground no more, and on preferred ground no less, costs at
    least the bound of the leaning problem less the leaning of this scheme.
    """
    leaning = chosen.cost - value
    bound = min(max(chosen.bound - leaning, 0.0), value)
    return Proof(value, bound, chosen.seconds, chosen.status)


def _best(found: Sequence[Layout], reach: Reach) -> Layout:
    """Return the layout that serves most ground, then the cheapest, then the first."""
    area_m2 = reach.cells["area_m2"].to_numpy(dtype=np.float64)
    dry_m2 = [float(area_m2[layout.unreachable].sum()) for layout in found]
    fit = [layout for layout, dry in zip(found, dry_m2, strict=True) if dry <= min(dry_m2)]
    best = min(fit, key=lambda layout: layout.proof.value)
    bound = min(layout.proof.bound for layout in fit)
    seconds = sum(layout.proof.seconds for layout in found)
    return replace(
        best,
        proof=replace(best.proof, bound=bound, seconds=seconds),
        reproducible=all(layout.reproducible for layout in found),
    )


def _part(progress: Progress | None, turn: int, turns: int) -> Progress | None:
    if progress is None:
        return None
    listener = progress

    def report(share: float) -> None:
        listener((turn + share) / turns)

    return report
