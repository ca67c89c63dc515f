"""Many errors on one holding: outlets and pipe laid once, heads, sizes and chances for each.

Outlets and pipe are chosen on the heights without the error laid on, as if a planner had walked
the ground; from the heads on the steps of the package run anew for each case.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np
import pandas as pd
from height_trials import (
    Case,
    Site,
    head_in_hand_m,
    highest_m,
    judged,
    lay_site,
    planned,
    project_tables,
    stand_tank,
    steep,
)

from dewpond import DewpondError, Plan, Project, project_from_dict
from dewpond.base.model import Heads, Holding, Intake, Network, Sizes
from dewpond.base.surface import Surface
from dewpond.steps.confidence import assess_confidence
from dewpond.steps.heads import profile_heads
from dewpond.steps.intake import measure_intake
from dewpond.steps.levelling import level_ground
from dewpond.steps.sizing import size_pipe
from dewpond.steps.terrain import model_terrain

LEVEL_DEVIATION_M = 0.05
# The tank is first raised by so much, so that some pipe fits, then brought to the head wanted.
RAISED_M = 12.0


def run_fixed(cases: Sequence[Case], number: int) -> list[dict[str, Any]]:
    """Return one record for each case; all of ``cases`` are on the same kind of ground."""
    layout = np.random.default_rng([number, 1])
    site = lay_site(number, cases[0], layout)
    record = {"ground": site.ground.name, "trial": number}
    if steep(site):
        return [{**record, "case": case.name, "reason": "steep ground"} for case in cases]
    tables = project_tables(site, cases[0], layout)
    in_hand = head_in_hand_m(tables, layout)
    level_m = highest_m(site) + 2.0 + in_hand
    try:
        base = planned(site, tables, stand_tank(site, level_m, layout.uniform(-5, 5, 2)))
    except DewpondError as error:
        return [{**record, "case": case.name, "reason": str(error)[:80]} for case in cases]
    state = int(layout.integers(1 << 31))
    return [
        {**record, "case": case.name, **_one(base, site, case, number, in_hand, state)}
        for case in cases
    ]


@dataclass(frozen=True, eq=False)
class _Sized:
    holding: Holding
    network: Network
    heads: Heads
    intake: Intake
    sizes: Sizes


def _one(
    base: Plan, site: Site, case: Case, number: int, in_hand_m: float, state: int
) -> dict[str, Any]:
    layout = np.random.default_rng(state)
    site = site.with_error(case, number)
    tables = project_tables(site, case, np.random.default_rng([number, 2]))
    raw = base.project.model_dump(exclude={"folder"}, exclude_none=True)
    project = project_from_dict({**raw, "terrain": tables["terrain"]})
    surface = Surface((site.seen,), base.holding.crs, base.holding.surface.posting_m)
    holding = replace(base.holding, surface=surface)
    if case.levelled:
        holding = replace(holding, levels=_levels(base, site, layout))
    holding = level_ground(holding, project.terrain)
    sized = _size(base, _raised(holding, RAISED_M), project)
    if not sized.sizes.pipes["outside_diameter_mm"].isna().any():
        outlets = sized.sizes.outlets
        spare = float((outlets["residual_head_m"] - outlets["needed_head_m"]).min())
        sized = _size(base, _raised(sized.holding, in_hand_m - spare), project)
    if sized.sizes.pipes["outside_diameter_mm"].isna().any():
        return {"reason": "no pipe fits"}
    scheme = base.scheme
    resize = partial(
        size_pipe, sized.holding, sized.network, sized.heads, scheme.watering, scheme.flows,
        sized.intake, project.pipe, project.design, project.folder,
    )  # fmt: skip
    sure = assess_confidence(
        sized.holding, model_terrain(sized.holding, project.walking), sized.network, sized.heads,
        scheme.watering, scheme.flows, sized.intake, sized.sizes, project, resize,
    )  # fmt: skip
    return judged(
        site.ground, sized.holding, sized.network, sized.heads, sized.sizes, sure, layout
    )


def _size(base: Plan, holding: Holding, project: Project) -> _Sized:
    """Carry the tree of a plan over other ground down to pipe sizes."""
    scheme = base.scheme
    nodes = scheme.network.nodes
    level_m = holding.surface.heights_m(nodes.geometry.x.to_numpy(), nodes.geometry.y.to_numpy())
    network = replace(scheme.network, nodes=nodes.assign(ground_level_m=level_m))
    heads = profile_heads(holding, network)
    intake = measure_intake(holding, network, heads, scheme.flows, project.supply, project.pipe)
    sizes = size_pipe(
        holding, network, heads, scheme.watering, scheme.flows, intake, project.pipe,
        project.design, project.folder,
    )  # fmt: skip
    return _Sized(holding, network, heads, intake, sizes)


def _raised(holding: Holding, by_m: float) -> Holding:
    """Raise the tank on its stand; it may be sunk into the ground as well."""
    (source,) = holding.sources
    stand_m = (source.settings.height_above_ground_m or 0.0) + by_m
    settings = source.settings.model_copy(update={"height_above_ground_m": max(stand_m, 0.2)})
    return replace(holding, sources=(replace(source, settings=settings),))


def _levels(base: Plan, site: Site, layout: np.random.Generator) -> pd.DataFrame:
    """Level the tank and the two outlets with least head, each to 5 cm."""
    outlets = base.scheme.sizes.outlets
    spare = (outlets["residual_head_m"] - outlets["needed_head_m"]).sort_values()
    nodes = base.network.nodes
    picked = [base.network.nodes.index[0], *spare.index[:2]]
    x = nodes.loc[picked].geometry.x.to_numpy()
    y = nodes.loc[picked].geometry.y.to_numpy()
    level = site.ground.surface.heights_m(x, y)
    level = level + layout.normal(0, LEVEL_DEVIATION_M, level.size)
    return pd.DataFrame(
        {
            "name": [str(name) for name in picked], "easting_m": x, "northing_m": y,
            "level_m": level, "deviation_m": LEVEL_DEVIATION_M,
        }
    )  # fmt: skip
