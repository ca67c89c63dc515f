"""A plan of as many square paddocks as a test needs, an outlet in each, for the plan sheets."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import geopandas as gpd
import hand_plan
import numpy as np
import pandas as pd
import pyproj
import shapely

from dewpond.base.model import Plan
from dewpond.base.settings import project_from_dict
from dewpond.outputs.layers import plan_layers

WEST, SOUTH = hand_plan.WEST, hand_plan.SOUTH
Layers = dict[str, gpd.GeoDataFrame]


def with_documents(plan: Plan, **documents: Any) -> Plan:
    """Return the plan with other settings of the documents."""
    project = plan.project.model_copy(
        update={
            "documents": project_from_dict(_least({"date": "2026-11-26", **documents})).documents
        }
    )
    return replace(plan, project=project)


def _least(documents: dict[str, Any]) -> dict[str, Any]:
    """Return the least project file with these documents."""
    return {
        "holding": {"name": "Test"},
        "mob": [{"name": "stores", "species": "cattle", "head": 1, "weight_kg": 350.0}],
        "source": [{"name": "tank", "kind": "header_tank", "at": [0.0, 50.0]}],
        "documents": documents,
    }


def grid_plan(
    columns: int,
    rows: int,
    side_m: float = 200.0,
    *,
    name: Callable[[int], str] = lambda number: f"Field {number}",
    source: str = "tank",
    **documents: Any,
) -> tuple[Plan, Layers]:
    """Return a plan and its layers: square paddocks in rows, a spine and a branch along each row.

    The shapes lie on round coordinates, so that lengths on paper are known beforehand.
    """
    plan = with_documents(hand_plan.make_plan(), **documents)
    count = columns * rows
    corners = [
        (WEST + side_m * (i % columns), SOUTH + side_m * (i // columns)) for i in range(count)
    ]
    shapes = [shapely.box(x, y, x + side_m, y + side_m) for x, y in corners]
    names = [name(i + 1) for i in range(count)]
    paddocks = _table({"name": names, "area_ha": side_m**2 / 1e4}, shapes)
    network = _network(plan, corners, columns, side_m, source)
    heads = hand_plan._heads(network)
    sizes = _sizes(plan, network)
    none = _table({"name": []}, [])
    features = replace(plan.holding.features, keep_out=none, tracks=none, watercourses=none,
                       gates=none)  # fmt: skip
    holding = replace(plan.holding, paddocks=paddocks, features=features)
    plan = hand_plan.with_scheme(
        replace(plan, holding=holding), network=network, heads=heads, sizes=sizes
    )
    return plan, _layers(plan, names, shapes)


def _table(columns: dict[str, Any], geometry: list[Any]) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(columns, geometry=geometry, crs=hand_plan.CRS)


def _network(
    plan: Plan, corners: list[tuple[float, float]], columns: int, side_m: float, source: str
) -> Any:
    places = [(x + side_m / 2, y + side_m / 4) for x, y in corners]
    nodes = {source: ("source", -1, (WEST, SOUTH - side_m / 8))}
    ways = []
    for row in range(len(corners) // columns):
        before = source if row == 0 else f"junction {row}"
        if columns > 1 or row:
            here = f"junction {row + 1}"
            nodes[here] = ("junction", -1, (WEST, SOUTH + side_m * (row + 0.125)))
            ways.append((before, here))
            before = here
        for i in range(row * columns, (row + 1) * columns):
            nodes[f"outlet {i + 1}"] = ("outlet", i, places[i])
            ways.append((before, f"outlet {i + 1}"))
            before = f"outlet {i + 1}"
    where = {node: shapely.Point(at) for node, (_, _, at) in nodes.items()}
    lines = [shapely.LineString([where[a], where[b]]) for a, b in ways]
    table = _table(
        {
            "kind": [kind for kind, _, _ in nodes.values()],
            "site": [site for _, site, _ in nodes.values()],
            "ground_level_m": [float(hand_plan.height(p.x, p.y)) for p in where.values()],
        },
        list(where.values()),
    )
    table.index = list(nodes)
    pipes = _table(
        {
            "from_node": [a for a, _ in ways],
            "to_node": [b for _, b in ways],
            "length_m": [line.length for line in lines],
            "laying": "fence",
            "laying_m": [(("fence", line.length),) for line in lines],
            "crossings": [()] * len(ways),
            "cost": 1.0,
        },
        lines,
    )
    pipes.index = [f"pipe {i + 1}" for i in range(len(ways))]
    return replace(plan.network, nodes=table, pipes=pipes, unconnected=())


def _sizes(plan: Plan, network: Any) -> Any:
    sizes, pipes = plan.scheme.sizes, network.pipes
    rows = pd.DataFrame(
        {column: sizes.pipes[column].iloc[0] for column in sizes.pipes}, index=pipes.index
    )
    outlets = network.nodes.index[network.nodes["kind"] == "outlet"]
    heads = pd.DataFrame({"residual_head_m": 12.5, "needed_head_m": 2.2}, index=outlets)
    return replace(sizes, pipes=rows, outlets=heads, breaks=sizes.breaks.iloc[:0], grade={})


def _layers(plan: Plan, names: list[str], shapes: list[Any]) -> Layers:
    """Return layers with the columns of the real ones, every kind that is not laid empty."""
    like = plan_layers(hand_plan.make_plan())
    layers = {kind: table.iloc[:0] for kind, table in like.items()}
    nodes, pipes = plan.network.nodes, plan.network.pipes
    outlets = nodes[nodes["kind"] == "outlet"]
    layers["paddock"] = _filled(like["paddock"], shapes, name=names, area_ha=shapes[0].area / 1e4)
    layers["outlet"] = _filled(
        like["outlet"], list(outlets.geometry), name=list(outlets.index),
        serves=[(name,) for name in names], ground_level_m=outlets["ground_level_m"].to_numpy(),
        static_head_m=20.0, served=True, notes="",
    )  # fmt: skip
    layers["pipe"] = _filled(
        like["pipe"], list(pipes.geometry), name=list(pipes.index),
        length_m=pipes["length_m"].to_numpy(), laying="fence", notes="",
        crossings=[()] * len(pipes), **{"from": list(pipes["from_node"])},
        to=list(pipes["to_node"]),
    )  # fmt: skip
    layers["source"] = _filled(
        like["source"], [nodes.geometry.iloc[0]], name=[str(nodes.index[0])], feeds_scheme=True
    )
    return layers


def _filled(like: gpd.GeoDataFrame, shapes: list[Any], **columns: Any) -> gpd.GeoDataFrame:
    row = like.drop(columns="geometry").iloc[0]
    data = {name: [row[name]] * len(shapes) for name in row.index}
    for name, values in columns.items():
        data[name] = list(np.broadcast_to(values, len(shapes))) if np.isscalar(values) else values
    return gpd.GeoDataFrame(data, geometry=shapes, crs=pyproj.CRS(like.crs))
