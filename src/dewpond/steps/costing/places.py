"""Where every feature of the plan lies: the parcels under it and the tenure of that ground."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import shapely

from dewpond.base.parcels import length_only_on_m, parcels_of, runs_on_m
from dewpond.steps.costing.facts import Facts

# Along a shared fence works stand on the side that allows more.
_FIRMEST_FIRST = ("owned", "rented", "wayleave", "portable")
_SAME_RUN_M = 1.0
_SAME_PLACE_M = 0.01


@dataclass(frozen=True, eq=False)
class Places:
    """Parcels and tenure by name of feature, and metres of pipe that pay a wayleave."""

    parcels: dict[str, tuple[str, ...]]
    tenure: dict[str, str]
    wayleave_m: dict[str, float]

    def parcels_under(self, features: Sequence[str]) -> tuple[str, ...]:
        """Return the parcels under some features, each once."""
        return tuple(dict.fromkeys(p for name in features for p in self.parcels[name]))

    def tenure_of(self, features: Sequence[str]) -> str:
        """Return the firmest tenure under some features."""
        return min((self.tenure[name] for name in features), key=_FIRMEST_FIRST.index)


def find_places(facts: Facts) -> Places:
    """Return where every feature lies that quantities are counted from."""
    paddocks = facts.holding.paddocks
    within_m = facts.settings.paddocks.gap_width_m
    shapes = dict(_shapes(facts))
    runs = dict(zip(shapes, runs_on_m(paddocks, list(shapes.values()), within_m), strict=True))
    kinds = paddocks["tenure"] if "tenure" in paddocks else pd.Series("owned", paddocks.index)
    wayleave = paddocks.index[kinds == "wayleave"].to_numpy(dtype=np.intp)
    pipes = facts.network.pipes
    metres = length_only_on_m(paddocks, wayleave, list(pipes.geometry), within_m)
    return Places(
        {name: parcels_of(paddocks, list(found)) for name, found in runs.items()},
        {name: _tenure(found, kinds) for name, found in runs.items()},
        dict(zip(map(str, pipes.index), metres.tolist(), strict=True)),
    )


def _tenure(runs: dict[int, float], kinds: pd.Series) -> str:
    """Return the tenure that most of a feature lies on; ground off the paddocks binds nothing."""
    metres: dict[str, float] = {}
    for paddock, run_m in runs.items():
        kind = str(kinds[paddock])
        metres[kind] = max(metres.get(kind, 0.0), run_m)
    if not metres:
        return _FIRMEST_FIRST[0]
    most = max(metres.values()) - _SAME_RUN_M
    return min((k for k, run_m in metres.items() if run_m >= most), key=_FIRMEST_FIRST.index)


def _shapes(facts: Facts) -> Iterator[tuple[str, Any]]:
    """Yield every feature by its name in the result files, with its shape."""
    network, source = facts.network, facts.source
    at = shapely.Point(source.easting_m, source.northing_m)
    for name in (source.name, f"tank at {source.name}", f"pump at {source.name}"):
        yield name, at
    nodes = network.nodes[network.nodes["kind"] == "outlet"]
    yield from zip(map(str, nodes.index), nodes.geometry, strict=True)
    yield from zip(map(str, network.pipes.index), network.pipes.geometry, strict=True)
    for name, _, point in points_along(facts):
        yield name, point


def points_along(facts: Facts) -> list[tuple[str, str, Any]]:
    """Return what stands on the pipe: name as in the result files, pipe, point.

    Air valves stand on summits and washouts in hollows, numbered outward; a washout drains its
    hollow, and the drains that are left are numbered anew.
    """
    found = [*_section_points(facts, "air valve", "summits")]
    washouts = _section_points(facts, "washout", "hollows")
    found += washouts
    hollows = shapely.STRtree([point for _, _, point in washouts])
    drains = 0
    for name, row in facts.isolation.fittings.iterrows():
        point = shapely.Point(row["easting_m"], row["northing_m"])
        label = str(name)
        if row["kind"] == "drain":
            if len(hollows.query(point, predicate="dwithin", distance=_SAME_PLACE_M)):
                continue
            drains += 1
            label = f"drain {drains}"
        found.append((label, str(row["pipe"]), point))
    for name, row in facts.sizes.breaks.iterrows():
        point = shapely.Point(row["easting_m"], row["northing_m"])
        found.append((str(name), str(row["pipe"]), point))
    return found


def _section_points(facts: Facts, kind: str, field: str) -> list[tuple[str, str, Any]]:
    found: list[tuple[str, str, Any]] = []
    for pipe in map(str, facts.network.pipes.index):
        section = facts.heads.sections.get(pipe)
        if section is None:
            continue
        for at in getattr(section, field):
            point = shapely.Point(section.easting_m[at], section.northing_m[at])
            found.append((f"{kind} {len(found) + 1}", pipe, point))
    return found
