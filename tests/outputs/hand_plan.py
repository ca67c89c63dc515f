"""A plan made by hand: four paddocks on a hill, a pipe tree, ground out of reach."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import scipy.sparse as sp
import shapely
from affine import Affine
from hand_confidence import make_confidence
from hand_water import (
    make_delivery,
    make_flows,
    make_intake,
    make_isolation,
    make_sizes,
    make_supply,
    make_watering,
)

from dewpond.base.model import (
    Appraisal,
    Candidates,
    Corridors,
    Demand,
    Features,
    Heads,
    Holding,
    Layout,
    Mob,
    Network,
    Plan,
    Proof,
    Reach,
    Scheme,
    Section,
    Siting,
    Source,
    Terrain,
    Verdict,
)
from dewpond.base.price_list import read_price_list
from dewpond.base.settings import project_from_dict
from dewpond.base.surface import Grid, Surface
from dewpond.steps.costing import cost_scheme

CRS = pyproj.CRS.from_epsg(27700)
WEST, SOUTH, CELL = 400_000.0, 480_000.0, 10.0
NAMES = ("Top Field", "Beck Meadow", "Long Pasture", "Ghyll")
LIMIT_M = 240.0
SOURCE_LEVEL_M = 262.0


def height(x: Any, y: Any) -> Any:
    """Ground of the fixture [m]: a slope to the north-east with two swells across it."""
    east, north = np.asarray(x) - WEST, np.asarray(y) - SOUTH
    return 220 + 0.03 * north + 0.02 * east + 6 * np.sin(east / 60) * np.cos(north / 90)


def make_plan(names: tuple[str, ...] = NAMES, source_name: str = "road main") -> Plan:
    """Return the plan, with other names where a test needs them."""
    project = project_from_dict(
        {
            "holding": {"name": "Test Hill", "crs": "EPSG:27700"},
            "terrain": {"elevation": "terrain.tif", "height_datum": "Newlyn"},
            "paddocks": {"boundaries": "paddocks.geojson"},
            "mob": [
                {"name": "stores", "species": "cattle", "head": 80, "weight_kg": 350.0},
                {
                    "name": "ewes", "species": "sheep", "head": 120, "weight_kg": 70.0,
                    "lactating": True, "trough": "fixed", "paddocks": list(names[:2]),
                },
            ],
            "source": [
                {
                    "name": source_name, "kind": "mains", "at": [WEST - 40, SOUTH - 30],
                    "crs": "EPSG:27700", "static_pressure_bar": 4.0,
                },
                {
                    "name": "hill tank", "kind": "header_tank", "at": [WEST + 650, SOUTH + 560],
                    "crs": "EPSG:27700",
                },
            ],
            "design": {"walk_limit_m": LIMIT_M},
        }
    )  # fmt: skip
    holding = _holding(project, names)
    terrain = _terrain()
    candidates = _candidates()
    reach, siting = _walks(holding, candidates)
    chosen = _scheme(names, reach, siting, source_name)
    plan = Plan(
        project=project,
        holding=holding,
        terrain=terrain,
        demand=_demand(project, names),
        candidates=candidates,
        reach=reach,
        corridors=Corridors(gpd.GeoDataFrame(), gpd.GeoDataFrame()),
        schemes=(chosen, _other_scheme(chosen)),
        chosen=0,
        versions={"dewpond": "0.1.0"},
        confidence=make_confidence(chosen.network, chosen.heads, chosen.sizes),
    )
    return with_costing(plan)


def with_costing(plan: Plan) -> Plan:
    """Return the plan with its schemes priced by its settings as they stand."""
    prices = read_price_list(plan.project)
    schemes = [
        replace(
            scheme,
            costing=cost_scheme(
                plan.holding, plan.demand, plan.candidates, plan.reach, scheme.network,
                scheme.heads, scheme.watering, scheme.isolation, scheme.sizes, scheme.supply,
                plan.project, prices,
            ),
        )
        for scheme in plan.schemes
    ]  # fmt: skip
    return replace(plan, schemes=tuple(schemes))


def with_scheme(plan: Plan, **parts: Any) -> Plan:
    """Return the plan with other values in the chosen scheme."""
    schemes = list(plan.schemes)
    schemes[plan.chosen] = replace(plan.scheme, **parts)
    return replace(plan, schemes=tuple(schemes))


def _scheme(names: tuple[str, ...], reach: Reach, siting: Siting, source_name: str) -> Scheme:
    network = _network(source_name)
    heads = _heads(network)
    layout = Layout(
        0, siting.sites, (), 1200.0, 3520.3, network.proof, True, siting.unreachable, (4,)
    )
    return Scheme(
        layout=layout,
        siting=siting,
        network=network,
        heads=heads,
        watering=make_watering(),
        flows=make_flows(),
        intake=make_intake(),
        sizes=make_sizes(network, heads),
        delivery=make_delivery(),
        isolation=make_isolation(heads),
        supply=make_supply(met=True),
        appraisal=_appraisal(names, network, reach, siting),
    )


def _other_scheme(chosen: Scheme) -> Scheme:
    """Return the second source tried: the same pipe from the hill tank, short of flow."""
    short = Verdict(
        "hill tank: flow at the source", 9.0, 14.3, "L/min", False, "hill tank", "fixed troughs"
    )
    return replace(
        chosen,
        network=replace(chosen.network, source=1),
        supply=make_supply(met=False),
        appraisal=replace(chosen.appraisal, verdicts=(*chosen.appraisal.verdicts, short)),
    )


def _appraisal(
    names: tuple[str, ...], network: Network, reach: Reach, siting: Siting
) -> Appraisal:
    covered = np.isfinite(siting.walk_m)
    area = reach.cells["area_m2"]
    totals = {
        "outlets": 4.0,
        "pipe_m": float(network.pipes["length_m"].sum()),
        "cost": 5321.5,
        "worst_walk_m": float(np.nanmax(siting.walk_m)),
        "covered_share": float(area[covered].sum() / area.sum()),
        "daily_demand_l": 4620.0,
    }
    verdicts = (
        Verdict("every grazed cell within the walk", 0.9, 1.0, "share", False, names[3], "add"),
        Verdict("longest walk", 238.0, LIMIT_M, "m", True),
    )
    return Appraisal(totals, verdicts)


def _table(columns: dict[str, Any], geometry: list[Any]) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(columns, geometry=geometry, crs=CRS)


def _holding(project: Any, names: tuple[str, ...]) -> Holding:
    x, y = WEST, SOUTH
    shapes = [
        shapely.Polygon([(x, y + 300), (x + 300, y + 280), (x + 320, y + 560), (x + 10, y + 520)]),
        shapely.Polygon([(x, y), (x + 290, y), (x + 300, y + 280), (x, y + 300)]),
        shapely.Polygon([(x + 290, y), (x + 640, y + 30), (x + 620, y + 270), (x + 300, y + 280)]),
        shapely.Polygon(
            [(x + 300, y + 280), (x + 620, y + 270), (x + 700, y + 600), (x + 320, y + 560)],
            [[(x + 420, y + 380), (x + 480, y + 380), (x + 480, y + 440), (x + 420, y + 440)]],
        ),
    ]
    paddocks = _table(
        {
            "name": list(names),
            "area_ha": [s.area / 1e4 for s in shapes],
        },
        shapes,
    )
    none = _table({"name": []}, [])
    wood = _table({"name": ["wood"]}, [shapely.Polygon(shapes[3].interiors[0])])
    lane = _table({"name": [""]}, [shapely.LineString([(x - 20, y - 60), (x - 20, y + 600)])])
    beck = _table({"name": [""]}, [shapely.LineString([(x + 480, y - 60), (x + 450, y + 200)])])
    gate = _table({"name": [""]}, [shapely.Point(x + 150, y + 290)])
    sources = [Source(s, s.at[0], s.at[1]) for s in project.source]
    mobs = (Mob(project.mob[0], (0, 1, 2, 3)), Mob(project.mob[1], (0, 1)))
    return Holding(
        name=project.holding.name,
        crs=CRS,
        paddocks=paddocks,
        features=Features(wood, lane, beck, gate, none),
        mobs=mobs,
        sources=tuple(sources),
        surface=Surface((_terrain().height_m,), CRS, CELL),
        repairs=("paddocks.geojson, feature 2: a loop was taken out",),
        inputs={"terrain.tif": "ab" * 32, "paddocks.geojson": "cd" * 32},
        credits=("Heights: invented for this test",),
    )


def _terrain() -> Terrain:
    transform = Affine(CELL, 0, WEST - 100, 0, -CELL, SOUTH + 700)
    column, row = np.meshgrid(np.arange(90) + 0.5, np.arange(80) + 0.5)
    values = height(transform.a * column + transform.c, transform.e * row + transform.f)
    grid = Grid(values, transform, CRS)
    return Terrain(CELL, "10 m suits the test", grid, replace(grid, values=np.zeros_like(values)))


def _demand(project: Any, names: tuple[str, ...]) -> Demand:
    mobs = pd.DataFrame(
        {
            "species": ["cattle", "sheep"],
            "head": [80, 120],
            "weight_kg": [350.0, 70.0],
            "lactating": [False, True],
            "trough": ["mobile", "fixed"],
            "method": "live weight share",
            "stock_class": "",
            "source": ["12 % of live weight a day", "15 % of live weight a day, in milk"],
            "litres_head_day": [42.0, 10.5],
            "daily_demand_l": [3360.0, 1260.0],
            "drinking_hours": [7.0, 9.0],
            "design_flow_l_min": [8.0, 7 / 3],
            "paddocks": [(0, 1, 2, 3), (0, 1)],
            "mobile_hours": 7.0,
            "fixed_hours": 9.0,
            "young_head": 0,
            "peak_month": 0,
        },
        index=["stores", "ewes"],
    )
    both = ("stores", "ewes")
    paddocks = pd.DataFrame(
        {
            "name": list(names),
            "mobs": [both, both, ("stores",), ("stores",)],
            "daily_demand_l": 3360.0,
            "design_flow_l_min": 8.0,
        }
    )
    return Demand(mobs, paddocks)


SITES = [(300, 280), (150, 2), (470, 20), (160, 540), (610, 200)]


def _candidates() -> Candidates:
    points = [shapely.Point(WEST + x, SOUTH + y) for x, y in SITES]
    sites = _table(
        {
            "kind": ["fence", "fence", "inside", "fence", "fence"],
            "ground_level_m": [float(height(p.x, p.y)) for p in points],
            "slope_degrees": 2.0,
        },
        points,
    )
    pairs = [(0, 0), (0, 1), (0, 2), (0, 3), (1, 1), (2, 2), (3, 0), (4, 2)]
    access = pd.DataFrame(pairs, columns=["site", "paddock"])
    access["easting_m"] = [points[s].x for s in access["site"]]
    access["northing_m"] = [points[s].y for s in access["site"]]
    return Candidates(sites, access, _table({"paddocks": []}, []), {})


def _walks(holding: Holding, candidates: Candidates) -> tuple[Reach, Siting]:
    rows = []
    for paddock, shape in holding.paddocks.geometry.items():
        west, south, east, north = (np.floor(np.array(shape.bounds) / CELL) * CELL).tolist()
        x, y = np.meshgrid(
            np.arange(west, east + CELL, CELL), np.arange(south, north + CELL, CELL)
        )
        x, y = x.ravel() + CELL / 2, y.ravel() + CELL / 2
        inside = shapely.contains_xy(shape, x, y)
        share = shape.area / inside.sum()
        rows += [(paddock, a, b, share) for a, b in zip(x[inside], y[inside], strict=True)]
    cells = pd.DataFrame(rows, columns=["paddock", "easting_m", "northing_m", "area_m2"])
    walk = np.full((len(SITES), len(cells)), np.inf)
    for site, paddock, x, y in candidates.access.itertuples(index=False):
        own = (cells["paddock"] == paddock).to_numpy()
        way = np.hypot(cells["easting_m"] - x, cells["northing_m"] - y) * 1.02
        walk[site, own] = np.maximum(way[own], 0.01)
    walk[walk > LIMIT_M] = np.inf
    nearest = np.where(np.isfinite(walk).any(axis=0), walk.argmin(axis=0), -1)
    best = np.where(nearest >= 0, walk.min(axis=0), np.nan)
    unreachable = ~np.isfinite(best) & (cells["northing_m"] > SOUTH + 500).to_numpy()
    reach = Reach(
        cells, sp.csr_array(np.where(np.isfinite(walk), walk, 0).astype(np.float32)), LIMIT_M, 0.0
    )
    proof = Proof(5.0, 5.0, 0.1, "optimal")
    warned = ("Ghyll is steep",)
    return reach, Siting((0, 1, 2, 3, 4), nearest, best, unreachable, proof, warned)


def _network(source_name: str) -> Network:
    points = {
        source_name: ("source", -1, (-40, -30)),
        "outlet 1": ("outlet", 1, SITES[1]),
        "junction 1": ("junction", -1, (290, 0)),
        "outlet 2": ("outlet", 2, SITES[2]),
        "outlet 3": ("outlet", 0, SITES[0]),
        "outlet 4": ("outlet", 3, SITES[3]),
    }
    where = [shapely.Point(WEST + p[2][0], SOUTH + p[2][1]) for p in points.values()]
    nodes = _table(
        {
            "kind": [p[0] for p in points.values()],
            "site": [p[1] for p in points.values()],
            "ground_level_m": [float(height(p.x, p.y)) for p in where],
        },
        where,
    )
    nodes.index = list(points)
    ways = [
        (source_name, "outlet 1", [(0, 0)], "track"),
        ("outlet 1", "junction 1", [], "fence"),
        ("junction 1", "outlet 2", [], "open ground"),
        ("junction 1", "outlet 3", [(295, 140)], "fence"),
        ("outlet 3", "outlet 4", [(150, 290), (140, 400)], "existing"),
    ]
    lines = [
        shapely.LineString(
            [nodes.geometry[a], *[(WEST + x, SOUTH + y) for x, y in via], nodes.geometry[b]]
        )
        for a, b, via, _ in ways
    ]
    pipes = _table(
        {
            "from_node": [w[0] for w in ways],
            "to_node": [w[1] for w in ways],
            "length_m": [line.length * 1.001 for line in lines],
            "laying": [w[3] for w in ways],
            "laying_m": [((w[3], line.length),) for w, line in zip(ways, lines, strict=True)],
            "crossings": [("track",), (), ("watercourse", "watercourse"), (), ()],
            "cost": [line.length * 4 for line in lines],
        },
        lines,
    )
    pipes.index = [f"pipe {i + 1}" for i in range(len(ways))]
    return Network(0, nodes, pipes, (4,), Proof(5321.5, 5000.0, 0.2, "heuristic"))


def _heads(network: Network) -> Heads:
    sections, end = {}, {network.nodes.index[0]: 0.0}
    rows = {}
    for name, pipe in network.pipes.iterrows():
        along = np.linspace(0, pipe.geometry.length, int(pipe.geometry.length / 5) + 2)
        points = shapely.line_interpolate_point(pipe.geometry, along)
        x, y = shapely.get_x(points), shapely.get_y(points)
        ground = height(x, y)
        first = end[pipe["from_node"]]
        distance = first + along * pipe["length_m"] / pipe.geometry.length
        end[pipe["to_node"]] = float(distance[-1])
        inner, left, right = ground[1:-1], ground[:-2], ground[2:]
        summits = tuple(int(i) + 1 for i in np.flatnonzero((inner > left) & (inner > right)))
        hollows = tuple(int(i) + 1 for i in np.flatnonzero((inner < left) & (inner < right)))
        sections[str(name)] = Section(distance, x, y, ground, summits, hollows)
        head = SOURCE_LEVEL_M - ground
        rows[str(name)] = (head[-1], head.max(), head.min())
    columns = ["static_head_m", "highest_static_head_m", "lowest_static_head_m"]
    pipes = pd.DataFrame.from_dict(rows, orient="index", columns=columns)
    levels = network.nodes["ground_level_m"]
    nodes = pd.DataFrame({"ground_level_m": levels, "static_head_m": SOURCE_LEVEL_M - levels})
    return Heads(SOURCE_LEVEL_M, "ground plus 4.0 bar of mains pressure", nodes, pipes, sections)
