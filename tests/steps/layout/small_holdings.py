"""Small holdings taken through every step up to the layout, and the least price by trial."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import geopandas as gpd
import networkx as nx
import numpy as np
from shapely.geometry.base import BaseGeometry

from dewpond import Project
from dewpond.base.model import Candidates, Corridors, Holding, Layout, Reach
from dewpond.steps.candidates import find_candidates
from dewpond.steps.corridors import lay_corridors
from dewpond.steps.grouping import group_cells
from dewpond.steps.layout import lay_out
from dewpond.steps.read import read_holding
from dewpond.steps.terrain import model_terrain
from dewpond.steps.walking import measure_walks
from farms import CRS, SOUTH, WEST, ground, project, table

Height = Callable[[np.ndarray, np.ndarray], np.ndarray]

# Full proofs, with a short heuristic: small holdings need no more.
PROVEN = {"optimality_gap": 0.0, "time_limit_s": 600.0, "restarts": 40}


@dataclass(frozen=True, eq=False)
class Case:
    """One holding with everything that the layout is chosen from."""

    project: Project
    holding: Holding
    candidates: Candidates
    reach: Reach
    corridors: Corridors

    def lay_out(self, source: int | None = 0, **settings: Any) -> Layout:
        layout = self.project.layout.model_copy(update=settings)
        return lay_out(
            self.holding, self.candidates, self.reach, group_cells(self.reach), self.corridors,
            layout,
            self.project.design, self.project.prices, source=source,
        )  # fmt: skip


def flat(x: np.ndarray, _: np.ndarray) -> np.ndarray:
    return np.full_like(x, 200.0)


def shapes_table(shapes: Sequence[BaseGeometry], **fields: Sequence[Any]) -> gpd.GeoDataFrame:
    columns = {"name": [""] * len(shapes), **fields}
    return gpd.GeoDataFrame(columns, geometry=list(shapes), crs=CRS)


def case(
    shapes: Sequence[BaseGeometry],
    height: Height = flat,
    features: dict[str, gpd.GeoDataFrame] | None = None,
    tenure: Sequence[str] | None = None,
    **tables: Any,
) -> Case:
    """Take paddocks through the steps; features and tenure are set beside the files."""
    given = project(**{**tables, "layout": {**PROVEN, **tables.get("layout", {})}})
    with ground(shapes, height) as data:
        holding = read_holding(given, paddocks=table(shapes), elevation=data)
    holding = replace(holding, features=replace(holding.features, **(features or {})))
    if tenure is not None:
        holding = replace(holding, paddocks=holding.paddocks.assign(tenure=list(tenure)))
    terrain = model_terrain(holding, given.walking)
    candidates = find_candidates(
        holding, terrain, given.siting, given.design, given.paddocks.gap_width_m,
        given.layout.spine_spacing_m,
    )  # fmt: skip
    reach = measure_walks(holding, terrain, candidates, given.walking, given.design)
    corridors = lay_corridors(
        holding, terrain, candidates, given.routing, given.design, given.prices
    )
    return Case(given, holding, candidates, reach, corridors)


def tank(x: float = 0.0, y: float = 0.0, **settings: Any) -> dict[str, Any]:
    return {
        "name": "tank", "kind": "header_tank", "at": [WEST + x, SOUTH + y], "crs": CRS,
        "height_above_ground_m": 5.0, **settings,
    }  # fmt: skip


def graph_of(corridors: Corridors) -> nx.Graph:
    graph = nx.Graph()
    graph.add_nodes_from(range(len(corridors.nodes)))
    for start, end, cost in corridors.edges[["start", "end", "cost"]].itertuples(index=False):
        known = graph.get_edge_data(start, end, {"cost": np.inf})["cost"]
        graph.add_edge(int(start), int(end), cost=min(float(cost), known))
    return graph


def least_by_trial(one: Case, most_outlets: int) -> float:
    """Return the least whole price over every set of sites, joined by exact Steiner trees.

    Steiner trees by Dreyfus and Wagner's recursion over subsets of terminals, written here for
    the test alone.
    """
    serves = one.reach.walk_m.toarray() > 0
    reachable = serves.any(axis=0)
    nodes = one.corridors.nodes
    node_of = {int(s): int(n) for n, s in nodes["site"].items() if s >= 0}
    root = int(np.flatnonzero(nodes["source"] == 0)[0])
    distance = dict(nx.all_pairs_dijkstra_path_length(graph_of(one.corridors), weight="cost"))
    best = np.inf
    for count in range(1, most_outlets + 1):
        for chosen in itertools.combinations(range(len(one.candidates.sites)), count):
            if serves[list(chosen)].any(axis=0)[reachable].all():
                tree = _steiner(distance, [root, *(node_of[site] for site in chosen)])
                best = min(best, tree + count * one.project.prices.outlet_each)
    return float(best)


def _steiner(distance: dict[int, dict[int, float]], terminals: list[int]) -> float:
    nodes = sorted(distance)
    *rest, last = terminals
    cost: dict[frozenset[int], dict[int, float]] = {
        frozenset([t]): {v: distance[t].get(v, np.inf) for v in nodes} for t in rest
    }
    for size in range(2, len(rest) + 1):
        for part in map(frozenset, itertools.combinations(rest, size)):
            merged = {
                v: min(
                    cost[frozenset(half)][v] + cost[part - frozenset(half)][v]
                    for k in range(1, size)
                    for half in itertools.combinations(sorted(part), k)
                )
                for v in nodes
            }
            cost[part] = {
                v: min(merged[u] + distance[u].get(v, np.inf) for u in nodes) for v in nodes
            }
    return cost[frozenset(rest)][last]
