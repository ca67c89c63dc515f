"""A straight hill with two outlets on one pipe, every earlier value made by hand.

Ground rises or falls evenly eastward from the source at 100 m. Pipe 1 runs 300 m to outlet 1,
pipe 2 a further 300 m to outlet 2, both 25 mm (bore 20.4 mm), and lose what is asked for.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
from affine import Affine
from shapely.geometry import LineString, Point, box

from dewpond import project_from_dict
from dewpond.base.model import (
    Delivery,
    Demand,
    Features,
    Flows,
    Heads,
    Holding,
    Intake,
    Mob,
    Network,
    Proof,
    Sizes,
    Source,
    Supply,
    Watering,
)
from dewpond.base.settings import Project
from dewpond.base.surface import Grid, Surface
from dewpond.steps.heads import profile_heads
from dewpond.steps.intake import measure_intake
from dewpond.steps.supply import judge_supply

CRS = pyproj.CRS("EPSG:27700")
WEST, SOUTH = 400_000.0, 480_000.0
OUTLETS = ["outlet 1", "outlet 2"]
PIPES = ["pipe 1", "pipe 2"]
VALVE_HEAD_M = 2.0
PROVEN = Proof(1.0, 1.0, 0.0, "optimal")


@dataclass(frozen=True)
class Farm:
    """A project and the earlier values on its hill."""

    project: Project
    holding: Holding
    network: Network
    heads: Heads
    demand: Demand
    watering: Watering
    flows: Flows

    def intake(self) -> Intake:
        return measure_intake(
            self.holding, self.network, self.heads, self.flows, self.project.supply,
            self.project.pipe,
        )  # fmt: skip

    def judge(self, friction_m: float = 0.0, delivery: Delivery | None = None) -> Supply:
        """Judge with pipes that lose a given head between source and last outlet."""
        intake = self.intake()
        sizes = self.sizes(intake, friction_m)
        project = self.project
        return judge_supply(
            self.holding, self.demand, self.network, self.heads, self.watering, self.flows, intake,
            sizes, delivery or no_delivery(), project.supply, project.trough, project.design,
        )  # fmt: skip

    def sizes(self, intake: Intake, friction_m: float) -> Sizes:
        """Pipes that lose a given head between source and last outlet at design flow."""
        level = float(intake.level_at_m(self.flows.total_l_min))
        ground = self.heads.nodes.loc[OUTLETS, "ground_level_m"].to_numpy(float)
        lost = friction_m * np.array([0.5, 1.0])
        return Sizes(
            pd.DataFrame(
                {
                    "outside_diameter_mm": 25.0, "inside_diameter_mm": 20.4,
                    "design_flow_l_min": self.flows.total_l_min,
                },
                index=PIPES,
            ),
            pd.DataFrame(
                {"residual_head_m": level - lost - ground, "needed_head_m": VALVE_HEAD_M},
                index=OUTLETS,
            ),
            pd.DataFrame(), (), PROVEN,
        )  # fmt: skip


def farm(
    *sources: dict[str, Any],
    slope: float = -0.05,
    head: int = 40,
    flow_l_min: float | None = None,
    drinks_from: str = "mobile",
    **tables: Any,
) -> Farm:
    """Return a hill with 40 cattle that drink 60 L a day each (12 % of 500 kg), from one source.

    2,400 L within 7 h are 5.71 L/min from a mobile trough.
    """
    project = project_from_dict(
        {
            "holding": {"name": "Hill", "crs": "EPSG:27700"},
            "terrain": {"height_unit": "metre"},
            "mob": [{"name": "stores", "species": "cattle", "head": head, "weight_kg": 500.0}],
            "source": [
                {"at": [WEST, SOUTH + 50.0], "crs": "EPSG:27700", **item} for item in sources
            ],
            **tables,
        }
    )
    holding = _holding(project, slope)
    network = _network(holding)
    demand = _demand(head)
    flow = float(demand.mobs["design_flow_l_min"].iloc[0]) if flow_l_min is None else flow_l_min
    heads = profile_heads(holding, network)
    watering = _watering(flow, drinks_from)
    return Farm(project, holding, network, heads, demand, watering, _flows(flow))


def no_delivery() -> Delivery:
    columns = ["alone_l_min", "available_flow_l_min", "worst_with"]
    return Delivery(pd.DataFrame(columns=columns))


def delivery(alone: list[float], worst: list[float]) -> Delivery:
    return Delivery(
        pd.DataFrame(
            {
                "alone_l_min": alone, "available_flow_l_min": worst,
                "worst_with": [("outlet 2",), ("outlet 1",)],
            },
            index=OUTLETS,
        )
    )  # fmt: skip


def level_at(easting_m: float, slope: float) -> float:
    return 100.0 + slope * (easting_m - WEST)


def _holding(project: Project, slope: float) -> Holding:
    posting = 10.0
    columns, rows = 260, 160
    transform = Affine(posting, 0, WEST - 1000.0, 0, -posting, SOUTH + 800.0)
    east = WEST - 1000.0 + posting * (np.arange(columns) + 0.5)
    values = np.broadcast_to(100.0 + slope * (east - WEST), (rows, columns)).copy()
    surface = Surface((Grid(values, transform, CRS),), CRS, posting)
    paddocks = gpd.GeoDataFrame(
        {"name": ["Low", "High"], "area_ha": 3.0},
        geometry=[
            box(WEST, SOUTH, WEST + 300, SOUTH + 100),
            box(WEST + 300, SOUTH, WEST + 600, SOUTH + 100),
        ],
        crs=CRS,
    )
    none = gpd.GeoDataFrame({"name": []}, geometry=[], crs=CRS)
    mobs = tuple(Mob(item, (0, 1)) for item in project.mob)
    sources = tuple(Source(item, *item.at) for item in project.source)
    features = Features(none, none, none, none, none)
    return Holding("Hill", CRS, paddocks, features, mobs, sources, surface)


def _network(holding: Holding) -> Network:
    source = holding.sources[0]
    names = [source.name, *OUTLETS]
    points = [Point(WEST + step, SOUTH + 50.0) for step in (0.0, 300.0, 600.0)]
    ground = holding.surface.heights_m([p.x for p in points], [p.y for p in points])
    nodes = gpd.GeoDataFrame(
        {"kind": ["source", "outlet", "outlet"], "site": [-1, 0, 1], "ground_level_m": ground},
        geometry=points, index=names, crs=CRS,
    )  # fmt: skip
    pipes = gpd.GeoDataFrame(
        {
            "from_node": names[:2], "to_node": names[1:], "length_m": 300.0, "laying": "fence",
            "laying_m": [(("fence", 300.0),)] * 2, "crossings": [(), ()], "cost": 1.0,
        },
        geometry=[LineString(points[:2]), LineString(points[1:])], index=PIPES, crs=CRS,
    )  # fmt: skip
    return Network(0, nodes, pipes, (), PROVEN)


def _demand(head: int) -> Demand:
    daily = 60.0 * head
    mobs = pd.DataFrame(
        {
            "species": "cattle", "head": head, "weight_kg": 500.0, "lactating": False,
            "trough": "mobile", "litres_head_day": 60.0, "daily_demand_l": daily,
            "drinking_hours": 7.0, "design_flow_l_min": daily / 420.0, "mobile_hours": 7.0,
            "fixed_hours": 9.0, "young_head": 0, "peak_month": 0,
        },
        index=["stores"],
    )  # fmt: skip
    return Demand(mobs, pd.DataFrame())


def _watering(flow_l_min: float, trough: str) -> Watering:
    uses = pd.DataFrame(
        {
            "mob": "stores", "outlet": OUTLETS, "paddock": [0, 1], "trough": trough,
            "design_flow_l_min": flow_l_min,
        }
    )  # fmt: skip
    outlets = pd.DataFrame(
        {"trough": trough, "design_flow_l_min": flow_l_min, "valve_head_m": VALVE_HEAD_M},
        index=OUTLETS,
    )
    return Watering(uses, outlets)


def _flows(flow_l_min: float) -> Flows:
    pipes = pd.DataFrame({"design_flow_l_min": flow_l_min, "mobs": [("stores",)] * 2}, index=PIPES)
    cases = pd.DataFrame(
        {"mob": "stores", "outlet": OUTLETS, "pipe 1": flow_l_min, "pipe 2": [0.0, flow_l_min]}
    )
    return Flows(pipes, cases, flow_l_min)
