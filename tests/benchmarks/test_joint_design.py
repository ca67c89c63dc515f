"""Whole cost, gap and time of the joint choice beside the two-stage way, on the same graph.

The two-stage way: the fewest outlets by spopt's location set covering, then a Steiner tree by
networkx. Sites stand every 50 m along the boundaries, the pipe graph is their Delaunay graph, pipe
is 6 a metre and an outlet 150 (invented prices).
"""

from __future__ import annotations

import time
import warnings
from pathlib import Path

import geopandas as gpd
import networkx as nx
import numpy as np
import pytest
import scipy.sparse as sp
import shapely
from matplotlib.figure import Figure
from scipy.spatial import Delaunay, cKDTree

from dewpond.base.jointdesign import JointLimits, JointProblem, design_jointly

pytestmark = pytest.mark.benchmark

SITE_SPACING_M, CELL_M, FENCE_WIDTH_M = 50.0, 40.0, 12.0
PIPE_PER_M, OUTLET = 6.0, 150.0
LANCASHIRE = "lancashire_uk_farm/fields_54_wgs84.geojson"
GROWTH_PICTURE = Path(__file__).parents[2] / "docs" / "images" / "joint-design-growth.png"
NEW_SOUTH_WALES = "nsw_au_paddocks_translated/paddocks_translated_epsg6933.gpkg"


def random_fields(random_state: int, count: int, hectares: float = 8.0) -> np.ndarray:
    """Return fields as evened-out Voronoi cells of random points in a square."""
    random = np.random.default_rng(random_state)
    side = np.sqrt(count * hectares * 1e4)
    square = shapely.box(0, 0, side, side)
    spots = random.random((count, 2)) * side
    for _ in range(3):
        cells = shapely.voronoi_polygons(shapely.multipoints(spots), extend_to=square)
        fields = shapely.intersection(shapely.get_parts(cells), square)
        spots = shapely.get_coordinates(shapely.centroid(fields))
    return np.asarray(fields)


def joint_problem(fields: np.ndarray, walk_limit_m: float) -> JointProblem:
    """Return sites on the boundaries, cells of ground inside, straight walks, a Delaunay graph."""
    place = _thinned(np.concatenate([_along(field) for field in fields]))
    corners = Delaunay(place).simplices
    pairs = np.vstack([corners[:, [0, 1]], corners[:, [1, 2]], corners[:, [0, 2]]])
    edges = np.unique(np.sort(pairs, axis=1), axis=0)
    serves = sp.vstack([_served(field, place, walk_limit_m) for field in fields]).tocsr()
    return JointProblem(
        n_nodes=len(place),
        edges=edges,
        edge_cost=PIPE_PER_M * np.hypot(*(place[edges[:, 0]] - place[edges[:, 1]]).T),
        site_node=np.arange(len(place)),
        site_cost=np.full(len(place), OUTLET),
        root_node=np.array([np.argmin(place.sum(axis=1))]),
        groups=sp.csr_array(serves[serves.sum(axis=1) > 0]),
    )


def _along(field: shapely.Polygon) -> np.ndarray:
    rings = shapely.get_parts(shapely.boundary(shapely.simplify(field, 1.0)))
    counts = [max(4, round(ring.length / SITE_SPACING_M)) for ring in rings]
    spots = [
        shapely.line_interpolate_point(ring, np.arange(n) / n, normalized=True)
        for ring, n in zip(rings, counts, strict=True)
    ]
    return shapely.get_coordinates(np.concatenate(spots))


def _thinned(place: np.ndarray) -> np.ndarray:
    """Keep the first of any places closer than 0.6 of the spacing."""
    near = cKDTree(place).query_ball_point(place, 0.6 * SITE_SPACING_M)
    keep = np.ones(len(place), dtype=bool)
    for here, others in enumerate(near):
        if keep[here]:
            keep[[other for other in others if other > here]] = False
    return place[keep]


def _served(field: shapely.Polygon, place: np.ndarray, limit_m: float) -> sp.csr_array:
    west, south, east, north = field.bounds
    x, y = np.meshgrid(
        np.arange(west + CELL_M / 2, east, CELL_M), np.arange(south + CELL_M / 2, north, CELL_M)
    )
    cell = np.column_stack([x.ravel(), y.ravel()])
    cell = cell[shapely.contains_xy(field, cell[:, 0], cell[:, 1])]
    usable = shapely.distance(field, shapely.points(place)) <= FENCE_WIDTH_M
    walk = np.hypot(*(cell[:, None, :] - place[None, :, :]).transpose(2, 0, 1))
    return sp.csr_array((walk <= limit_m) & usable)


def two_stage_cost(problem: JointProblem) -> float:
    """Return the cost of the fewest outlets (spopt), joined by a Steiner tree (networkx)."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import pulp
        from spopt.locate import LSCP

        distance = 1.0 - (problem.groups.toarray() > 0)
        cover = LSCP.from_cost_matrix(distance, 0.5).solve(pulp.HiGHS(msg=False))
    sites = [site for site, served in enumerate(cover.fac2cli) if served]
    graph = nx.Graph()
    graph.add_weighted_edges_from(
        (int(a), int(b), c) for (a, b), c in zip(problem.edges, problem.edge_cost, strict=True)
    )
    terminals = {int(problem.root_node[0]), *(int(problem.site_node[site]) for site in sites)}
    tree = nx.algorithms.approximation.steiner_tree(graph, sorted(terminals), method="mehlhorn")
    return float(tree.size("weight") + problem.site_cost[sites].sum())


def compare(name: str, problem: JointProblem, seconds: float) -> float:
    """Print one line; return the saving of the joint choice as a share of the two-stage cost."""
    began = time.process_time()
    design = design_jointly(problem, JointLimits(seconds=seconds))
    worked = time.process_time() - began
    two = two_stage_cost(problem)
    saving = 1.0 - design.cost / two
    print(
        f"{name}: {len(problem.site_node)} sites, {len(design.sites)} outlets, cost "
        f"{design.cost:,.0f} against {two:,.0f} in two stages (saving {saving:.1%}), gap "
        f"{design.gap:.2%}, {design.status}, {design.seconds:.0f} s ({worked:.0f} s of processor)",
        flush=True,
    )
    assert design.cost <= two + 1e-6
    assert design.bound <= design.cost + 1e-6
    return saving


def test_random_holdings() -> None:
    print()
    savings = []
    for random_state in range(20):
        count = 8 + random_state % 9
        fields = random_fields(random_state, count, hectares=5.0)
        name = f"random {random_state}, {count} fields"
        savings.append(compare(name, joint_problem(fields, 300.0), 120.0))
    print(f"median saving {np.median(savings):.1%}")


@pytest.mark.parametrize("walk_limit_m", [600.0, 400.0, 300.0])
@pytest.mark.parametrize("place", [NEW_SOUTH_WALES, LANCASHIRE])
def test_real_places(real_data: Path, place: str, walk_limit_m: float) -> None:
    frame = gpd.read_file(real_data / place)
    fields = frame.to_crs(frame.estimate_utm_crs()).geometry.make_valid().to_numpy()
    print()
    compare(f"{place}, {walk_limit_m:.0f} m", joint_problem(fields, walk_limit_m), 120.0)


def growth(count: int, gap: float, seconds: float) -> tuple[int, float, float, float]:
    """Return the number of fields, the gap asked for, the gap reached and the processor time."""
    problem = joint_problem(random_fields(0, count), 400.0)
    began = time.process_time()
    design = design_jointly(problem, JointLimits(seconds=seconds, gap=gap))
    worked = time.process_time() - began
    print(
        f"{count} fields, {len(problem.site_node)} sites, gap asked {gap:.0%}, reached "
        f"{design.gap:.2%}, {design.status}, {design.seconds:.0f} s ({worked:.1f} s of processor)",
        flush=True,
    )
    return count, gap, design.gap, worked


def exponent(rows: list[tuple[int, float, float, float]]) -> float:
    """Return the power of the number of fields with which the time grows, by least squares."""
    count, _, _, worked = np.array(rows).T
    return float(np.polyfit(np.log(count), np.log(worked), 1)[0])


def draw_growth(rows: list[tuple[int, float, float, float]], path: Path) -> None:
    """Draw processor time against the number of fields, both by powers, one line for each gap."""
    figure = Figure(figsize=(6.4, 4.0), dpi=150, layout="constrained")
    axes = figure.add_subplot()
    for gap, colour, marker in ((0.10, "#1f4e5f", "o"), (0.02, "#b5651d", "s")):
        of_gap = [row for row in rows if row[1] == gap]
        if not of_gap:
            continue
        reached = [row for row in of_gap if row[2] <= gap]
        axes.plot(
            [row[0] for row in reached],
            [row[3] for row in reached],
            color=colour,
            marker=marker,
            label=f"to a gap of {gap:.0%}: n^{exponent(reached):.2f}",
        )
        for count, _, left, worked in of_gap:
            if left > gap:
                axes.plot(count, worked, marker=marker, color=colour, mfc="white", ls="none")
                axes.annotate(
                    f"stopped at {left:.1%}", (count, worked), xytext=(-8, 0),
                    textcoords="offset points", ha="right", va="center", fontsize=8, color=colour,
                )  # fmt: skip
    counts = sorted({row[0] for row in rows})
    axes.set(xscale="log", yscale="log", xlabel="fields of 8 ha", ylabel="processor time [s]")
    axes.set_xticks(counts, [str(count) for count in counts])
    axes.minorticks_off()
    axes.yaxis.set_major_formatter("{x:g}")
    axes.grid(color="#dddddd", linewidth=0.6)
    axes.spines[["top", "right"]].set_visible(False)
    axes.legend(frameon=False, loc="upper left")
    figure.savefig(path)


def test_growth_with_the_number_of_fields() -> None:
    print()
    rows = [growth(count, 0.02, 300.0) for count in (10, 25, 50, 100)]
    rows += [growth(count, 0.10, 600.0) for count in (10, 25, 50, 100, 200)]
    draw_growth(rows, GROWTH_PICTURE)
    print(f"time to a gap of 10 % grows as n^{exponent(rows[4:]):.2f}")
