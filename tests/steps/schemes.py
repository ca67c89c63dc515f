"""Small schemes made by hand on ground of a formula: the values that the water steps take."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd

from dewpond.base.friction import float_valve_coefficient_m2, float_valve_head_m
from dewpond.base.model import Flows, Heads, Holding, Intake, Network, Proof, Sizes, Watering
from dewpond.base.profile import ground_lengths_m
from dewpond.base.settings import DesignSettings, PipeSettings
from dewpond.steps.flows import design_flows
from dewpond.steps.heads import profile_heads
from dewpond.steps.sizing import size_pipe
from steps.corridors.pipe_ground import CRS, SOUTH, WEST, flat, holding, line, source

BURIED = DesignSettings(laying="buried")


@dataclass(frozen=True, eq=False)
class Scheme:
    """Everything the water steps take, for one invented scheme."""

    farm: Holding
    network: Network
    heads: Heads
    watering: Watering
    flows: Flows
    intake: Intake

    def size(self, design: DesignSettings = BURIED, folder: Path = Path(), **pipe) -> Sizes:
        return size_pipe(
            self.farm, self.network, self.heads, self.watering, self.flows, self.intake,
            PipeSettings(**pipe), design, folder,
        )  # fmt: skip


def make_network(farm, ways, laying="fence"):
    """Return a network of (from, to, [(x, y), ...]); the first node is the source."""
    places = {ways[0][0]: ways[0][2][0]} if ways else {farm.sources[0].name: (0, 0)}
    places.update({to: way[-1] for _, to, way in ways})
    names = list(places)
    eastings = np.array([WEST + x for x, _ in places.values()])
    northings = np.array([SOUTH + y for _, y in places.values()])
    kinds = ["source"] + [name.split()[0] for name in names[1:]]
    nodes = gpd.GeoDataFrame(
        {"kind": kinds, "site": -1, "ground_level_m": farm.surface.heights_m(eastings, northings)},
        geometry=gpd.points_from_xy(eastings, northings), index=pd.Index(names, dtype=object),
        crs=CRS,
    )  # fmt: skip
    lines = [line(*way) for _, _, way in ways]
    lengths = ground_lengths_m(lines, farm.surface)
    laid = laying if isinstance(laying, list) else [laying] * len(ways)
    pipes = gpd.GeoDataFrame(
        {
            "from_node": [start for start, _, _ in ways],
            "to_node": [end for _, end, _ in ways],
            "length_m": lengths,
            "laying": laid,
            "laying_m": [((kind, length),) for kind, length in zip(laid, lengths, strict=True)],
        },
        geometry=lines,
        index=pd.Index([f"pipe {number}" for number in range(1, len(ways) + 1)], dtype=object),
        crs=CRS,
    )
    return Network(0, nodes, pipes, (), Proof(0.0, 0.0, 0.0, "optimal"))


def make_watering(network, uses, seat_bore_mm=12.0):
    """Return a watering of uses (mob, outlet, paddock, L/min), one float valve an outlet."""
    outlets = network.nodes.index[network.nodes["kind"] == "outlet"]
    table = pd.DataFrame(uses, columns=["mob", "outlet", "paddock", "design_flow_l_min"])
    design = table.groupby("outlet")["design_flow_l_min"].max().reindex(outlets).fillna(0.0)
    coefficient = float_valve_coefficient_m2(seat_bore_mm / 1000.0, 0.6)
    frame = pd.DataFrame(
        {
            "design_flow_l_min": design,
            "seat_bore_mm": seat_bore_mm,
            "discharge_coefficient": 0.6,
            "valve_head_m": float_valve_head_m(design.to_numpy() / 60_000.0, coefficient),
        },
        index=outlets,
    )
    return Watering(table, frame)


def flat_curve(level_m, most_l_min=1000.0):
    return Intake(np.array([0.0, most_l_min]), np.array([level_m, level_m]), np.inf, False,
                  np.nan, "by hand")  # fmt: skip


def make_scheme(
    ways, uses, height=flat, head_m=30.0, intake=None, laying="fence", seat_bore_mm=12.0,
    kind="header_tank", **features,
):  # fmt: skip
    """Return a scheme whose source stands `head_m` over the ground at its first place."""
    x, y = ways[0][2][0] if ways else (0, 0)
    farm = holding(
        [source(x, y, name="tank", kind=kind, height_above_ground_m=head_m)],
        height=height,
        **features,
    )
    network = make_network(farm, ways, laying)
    heads = profile_heads(farm, network)
    watering = make_watering(network, uses, seat_bore_mm)
    return Scheme(
        farm, network, heads, watering, design_flows(network, watering),
        intake or flat_curve(heads.source_level_m),
    )  # fmt: skip


def one_pipe(height=flat, length_m=500, flow_l_min=12.0, **options):
    return make_scheme(
        [("tank", "outlet 1", [(0, 0), (length_m, 0)])],
        [("cows", "outlet 1", 0, flow_l_min)],
        height,
        **options,
    )
