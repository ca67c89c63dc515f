"""One trial: a holding laid at random, planned on what a planner sees, checked on the truth."""

from __future__ import annotations

import zlib
from dataclasses import dataclass, replace
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from height_grounds import DEGRADED, Ground, cut_coarse, cut_seen, two_surveys
from height_shapes import SHAPES, draw_error
from shapely.affinity import rotate

from dewpond import DewpondError, Plan, plan_holding, project_from_dict
from dewpond.base.heighterror import height_error
from dewpond.base.model import Confidence, Heads, Holding, Network, Section, Sizes
from dewpond.base.settings import TerrainSettings
from dewpond.base.surface import Grid, Surface, transformer
from farms import raster

LAYOUTS = ((1, 2), (1, 3), (2, 2), (1, 4), (2, 3))  # rows and columns of 2 to 6 paddocks
MARGIN_M = 230.0
ROUNDING_M = 0.001
# Grazed ground: a holding steeper than this on the heights in hand is not laid.
STEEPEST = 0.20


@dataclass(frozen=True)
class Case:
    """What really is wrong with the heights, and what the planner says of them."""

    name: str
    shape: str = ""  # of the error laid on; empty for the two real surveys
    terrain: tuple[tuple[str, Any], ...] = ()  # settings of the planner besides the data class
    levelled: bool = False  # three places are levelled to 5 cm
    whole: bool = False  # outlets and pipe are chosen on the heights in hand


@dataclass(frozen=True, eq=False)
class Site:
    """A holding laid at random, and the heights a planner has of it."""

    ground: Ground
    clean: Grid  # without the error laid on, or the other survey
    seen: Grid
    paddocks: gpd.GeoDataFrame
    cells: np.ndarray  # easting, northing of each cell, shape (n, 2)

    def with_error(self, case: Case, number: int) -> Site:
        """Return the site as a planner sees it in one case."""
        if not case.shape:
            return self
        noise = np.random.default_rng([number, zlib.crc32(case.shape.encode())])
        heights = self.clean.values
        slope = np.hypot(*np.gradient(heights, *cell_m(self.ground))).ravel()
        error = draw_error(SHAPES[case.shape], *self.cells.T, slope, noise)
        return replace(
            self, seen=replace(self.clean, values=heights + error.reshape(heights.shape))
        )


def run_whole(case: Case, number: int) -> dict[str, Any]:
    """Plan from start to end on the heights in hand; ``reason`` where no plan came of it."""
    layout = np.random.default_rng([number, 1])
    site = lay_site(number, case, layout)
    record = {"case": case.name, "ground": site.ground.name, "trial": number}
    site = site.with_error(case, number)
    if steep(site):
        return {**record, "reason": "steep ground"}
    try:
        plan = _plan(site, case, layout)
    except DewpondError as error:
        return {**record, "reason": str(error).splitlines()[0][:80]}
    assert plan.confidence is not None
    scheme = plan.scheme
    return {**record, **judged(
        site.ground, plan.holding, scheme.network, scheme.heads, scheme.sizes, plan.confidence,
        layout,
    )}  # fmt: skip


def judged(
    ground: Ground,
    holding: Holding,
    network: Network,
    heads: Heads,
    sizes: Sizes,
    sure: Confidence,
    layout: np.random.Generator,
) -> dict[str, Any]:
    """Return what was promised of a scheme and what happens on the truth."""
    if sizes.pipes["outside_diameter_mm"].isna().any():
        return {"reason": "no pipe fits"}
    if len(sizes.breaks):
        return {"reason": "pressure breaks"}
    works, true_spare = works_on_truth(holding, network, heads, sizes, ground)
    outlets = sure.outlets
    pick = int(layout.integers(len(outlets)))
    row = outlets.iloc[pick]
    return {
        "reason": "",
        "outlets": len(outlets),
        "chance_all": sure.chance_all,
        "all": bool(works.all()),
        "chance_one": float(row["chance"]),
        "one": bool(works[pick]),
        "low_m": float(row["spare_head_low_m"]),
        "high_m": float(row["spare_head_high_m"]),
        "true_m": float(true_spare[pick]),
    }


def lay_site(number: int, case: Case, layout: np.random.Generator) -> Site:
    """Choose a place and lay the paddocks there; both follow from the number alone."""
    ground = DEGRADED[number % len(DEGRADED)]() if case.shape else two_surveys()
    rows, columns = LAYOUTS[layout.integers(len(LAYOUTS))]
    side = ground.side_m * layout.uniform(0.9, 1.25)
    angle = layout.uniform(0, 90)
    half_m = 0.5 * side * np.hypot(rows, columns) + MARGIN_M
    half = np.ceil(half_m / cell_m(ground)).astype(int)
    blocks = np.array(ground.truth.values.shape) // ground.coarser
    middle = [int(layout.integers(h + 1, b - h - 1)) for h, b in zip(half, blocks, strict=True)]
    window = [slice(m - h, m + h) for m, h in zip(middle, half, strict=True)]
    clean = cut_coarse(ground, *window) if case.shape else cut_seen(ground, *window)
    cells = _centres(clean, ground)
    centre = cells.reshape(*clean.values.shape, 2)[half[0], half[1]]
    squares = [
        shapely.box(c * side, r * side, (c + 1) * side, (r + 1) * side)
        for r in range(rows)
        for c in range(columns)
    ]
    shapes = [rotate(square, angle, origin=(0, 0)) for square in squares]
    offset = centre - shapely.get_coordinates(shapely.unary_union(shapes).centroid)[0]
    shapes = [shapely.transform(shape, lambda points: points + offset) for shape in shapes]
    names = [f"field {n + 1}" for n in range(len(shapes))]
    paddocks = gpd.GeoDataFrame({"name": names}, geometry=shapes, crs=ground.crs)
    return Site(ground, clean, clean, paddocks, cells)


def steep(site: Site) -> bool:
    """Return whether the paddocks are steeper in the middle of the range than is grazed."""
    slope = np.hypot(*np.gradient(site.seen.values, *cell_m(site.ground))).ravel()
    inside = shapely.contains_xy(site.paddocks.union_all(), *site.cells.T)
    return bool(np.median(slope[inside]) > STEEPEST)


def cell_m(ground: Ground) -> np.ndarray:
    """Return height and width of a cell in hand [m]."""
    step = ground.truth.transform
    if ground.truth.crs.is_geographic:
        latitude = np.radians(step.f)
        return np.array([-step.e * 110_900.0, step.a * 111_320.0 * np.cos(latitude)])
    return np.array([-step.e, step.a]) * ground.coarser


def _centres(grid: Grid, ground: Ground) -> np.ndarray:
    """Return easting and northing of the cells in the working CRS, shape (n, 2)."""
    rows, columns = grid.values.shape
    column, row = np.meshgrid(np.arange(columns) + 0.5, np.arange(rows) + 0.5)
    t = grid.transform
    x, y = t.a * column + t.c, t.e * row + t.f
    if grid.crs != ground.crs:
        x, y = transformer(grid.crs, ground.crs).transform(x, y)
    return np.column_stack([x.ravel(), y.ravel()])


def _plan(site: Site, case: Case, layout: np.random.Generator) -> Plan:
    """Plan twice: once to see what head there is, then with a tank that leaves it tight."""
    tables = project_tables(site, case, layout)
    aside, in_hand_m = layout.uniform(-5, 5, 2), head_in_hand_m(tables, layout)
    level_m = highest_m(site) + 2.0 + in_hand_m
    first = planned(site, tables, stand_tank(site, level_m, aside))
    if not first.scheme.sizes.pipes["outside_diameter_mm"].isna().any():
        outlets = first.scheme.sizes.outlets
        spare = (outlets["residual_head_m"] - outlets["needed_head_m"]).min()
        level_m = first.heads.source_level_m - float(spare) + in_hand_m
    return planned(
        site, {**tables, "confidence": {**tables["confidence"], "assess": True}},
        stand_tank(site, level_m, aside),
    )  # fmt: skip


def project_tables(site: Site, case: Case, layout: np.random.Generator) -> dict[str, Any]:
    """Return the settings of a trial but for the tank, small searches all through."""
    terrain = TerrainSettings(
        **{"height_unit": "metre", "height_data": site.ground.data_class, **dict(case.terrain)}
    )
    return {
        "holding": {"name": "Trial", "crs": site.ground.crs.to_string()},
        "terrain": terrain.model_dump(exclude_none=True),
        "mob": [{
            "name": "stores", "species": "cattle", "weight_kg": 450.0,
            "head": int(layout.integers(10, 45)),
        }],
        "design": {"walk_limit_m": float(layout.uniform(0.9, 1.3) * site.ground.side_m)},
        "layout": {
            "price_rounds": 0, "restarts": 10, "optimality_gap": 0.1, "cut_rounds": 10,
            "node_limit": 20,
        },
        "confidence": {"assess": False, "survey_points": 0, "wanted": 0.5},
    }  # fmt: skip


def head_in_hand_m(tables: dict[str, Any], layout: np.random.Generator) -> float:
    """Draw how much head the planner leaves over the least, in proportion to its error."""
    error = height_error(TerrainSettings(**tables["terrain"]), 30.0)
    head_m = error.standard_deviation_m * np.sqrt(2 * (1 - error.long_share))
    return float(layout.uniform(-0.3, 2.8) * head_m)


def planned(site: Site, tables: dict[str, Any], tank: dict[str, Any]) -> Plan:
    grid = site.seen
    with raster(grid.values, grid.transform, site.ground.truth.crs.to_string()) as data:
        project = project_from_dict({**tables, "source": [tank]})
        return plan_holding(project, paddocks=site.paddocks, elevation=data)


def highest_m(site: Site) -> float:
    """Return the highest ground in the paddocks on the heights in hand."""
    inside = shapely.contains_xy(site.paddocks.union_all(), *site.cells.T)
    return float(site.seen.values.ravel()[inside].max())


def stand_tank(site: Site, level_m: float, aside: np.ndarray) -> dict[str, Any]:
    """Stand a tank beside the paddocks so that its water has a level on the heights in hand."""
    away = shapely.distance(shapely.points(site.cells), site.paddocks.union_all())
    near = np.flatnonzero((away > 15.0) & (away < 180.0))
    height_m = site.seen.values.ravel()[near]
    best = int(np.argmin(np.abs(height_m + 1.0 - level_m)))
    return {
        "name": "tank", "kind": "header_tank", "at": (site.cells[near[best]] + aside).tolist(),
        "crs": site.ground.crs.to_string(), "tank_volume_l": 20_000.0,
        "height_above_ground_m": float(np.clip(level_m - height_m[best], 0.2, 12.0)),
    }  # fmt: skip


def works_on_truth(
    holding: Holding,
    network: Network,
    heads: Heads,
    sizes: Sizes,
    ground: Ground,
    lift_m: float = 0.0,
) -> tuple[np.ndarray, np.ndarray]:
    """Return whether each outlet works on the true ground, and its true spare head [m].

    ``lift_m`` is how much higher the tank stands than it was planned; moved so, it may stand in
    the ground, and the first 25 m of pipe are let lie as deep.

    Losses do not change with the ground, so the water everywhere stands as much higher or lower
    as the tank does. Worked from the geometry and the grade lines of the plan alone, on points
    every few metres of the true ground.
    """
    truth, seen = ground.surface, holding.surface
    source = holding.sources[network.source]
    at = np.array([source.easting_m]), np.array([source.northing_m])
    sunk_m = float((seen.heights_m(*at) - truth.heights_m(*at))[0]) - lift_m
    root = network.nodes.index[0]
    passes = {str(root): True}
    for name, pipe in network.pipes.iterrows():
        clear = _clear(
            heads.sections[str(name)], sizes.grade[str(name)], truth, heads.source_level_m, sunk_m,
            float(sizes.pipes.at[name, "working_head_m"]), first=pipe["from_node"] == root,
            deep=lift_m != 0.0,
        )  # fmt: skip
        passes[pipe["to_node"]] = passes[pipe["from_node"]] and clear
    nodes = network.nodes.loc[sizes.outlets.index]
    x, y = nodes.geometry.x.to_numpy(), nodes.geometry.y.to_numpy()
    raised = seen.heights_m(x, y) - truth.heights_m(x, y)
    spare = sizes.outlets["residual_head_m"] - sizes.outlets["needed_head_m"]
    true_spare = spare.to_numpy(float) + raised - sunk_m
    reached = np.array([passes[str(name)] for name in sizes.outlets.index])
    return (true_spare >= -ROUNDING_M) & reached, true_spare


def _clear(
    section: Section,
    grade: pd.DataFrame,
    truth: Surface,
    still_m: float,
    sunk_m: float,
    working_head_m: float,
    *,
    first: bool,
    deep: bool,
) -> bool:
    """Return whether water stands over the true ground all along a pipe, within its class."""
    along = section.distance_m - section.distance_m[0]
    fine = np.linspace(0, along[-1], max(2, int(along[-1] / 4.0)))
    x, y = np.interp(fine, along, section.easting_m), np.interp(fine, along, section.northing_m)
    ground_m = truth.heights_m(x, y)
    rows = grade["distance_m"].to_numpy(float) - section.distance_m[0]
    water_m = np.interp(fine, rows, grade["grade_level_m"].to_numpy(float)) - sunk_m
    over = water_m >= ground_m - ROUNDING_M
    if first:  # pipe leaves a tank below its water: the first 25 m are no summit
        over |= (fine <= 25.0) & (deep | (ground_m <= still_m - sunk_m))
    strong = still_m - sunk_m - ground_m <= working_head_m
    return bool((over & strong).all())
