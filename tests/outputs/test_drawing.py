"""Maps and long sections, looked at before they are saved."""

from __future__ import annotations

import itertools
import re
from dataclasses import replace
from typing import Any

import matplotlib as mpl
import numpy as np
import pandas as pd
import pytest
import shapely
from hand_plan import LIMIT_M, SOURCE_LEVEL_M, make_plan, with_scheme
from hand_water import BREAK_LEVEL_M, CLASS_HEAD_M, no_water, nothing_fits
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text
from matplotlib.transforms import Bbox

from dewpond.base.model import Plan
from dewpond.outputs import write_plan
from dewpond.outputs.drawing import (
    long_section,
    plan_map,
    pressure_map,
    reach_map,
    section_lines,
)
from dewpond.outputs.drawing.branches import slug
from dewpond.outputs.drawing.labels import FreeSpace
from dewpond.outputs.drawing.lettering import plain
from dewpond.outputs.drawing.pipework import draw_on_pipe, widths_pt
from dewpond.outputs.drawing.pressure import HEAD_SHADES
from dewpond.outputs.drawing.profile import spread_out
from dewpond.outputs.drawing.scales import map_scale, round_down, round_up, walk_bands
from dewpond.outputs.layers import Layers, plan_layers


@pytest.fixture(scope="module")
def layers(plan: Plan) -> Layers:
    return plan_layers(plan)


@pytest.fixture(scope="module")
def scheme(plan: Plan, layers: Layers) -> Figure:
    return drawn(plan_map(plan, layers))


@pytest.fixture(scope="module")
def reach(plan: Plan, layers: Layers) -> Figure:
    return drawn(reach_map(plan, layers))


@pytest.fixture(scope="module")
def pressure(plan: Plan, layers: Layers) -> Figure:
    return drawn(pressure_map(plan, layers))


@pytest.fixture(scope="module")
def section(plan: Plan, layers: Layers) -> Figure:
    pipes = section_lines(plan.network)["02-road-main-to-outlet-4"]
    return drawn(long_section(plan, layers, pipes, 2))


def drawn(figure: Figure) -> Figure:
    FigureCanvasAgg(figure).draw()
    return figure


def key(figure: Figure) -> list[str]:
    (legend,) = figure.legends
    return [text.get_text() for text in legend.get_texts()]


def texts(figure: Figure) -> list[str]:
    found = [text.get_text() for text in figure.findobj(Text)]
    return [text for text in found if text]


def boxes(figure: Figure, wanted: list[str]) -> list[Bbox]:
    renderer = FigureCanvasAgg(figure).get_renderer()
    found = [text for text in figure.findobj(Text) if text.get_text() in wanted]
    return [text.get_window_extent(renderer) for text in found]


def overlaps(items: list[Bbox]) -> list[tuple[int, int]]:
    return [
        (i, j)
        for (i, a), (j, b) in itertools.combinations(enumerate(items), 2)
        if min(a.x1, b.x1) - max(a.x0, b.x0) > 1 and min(a.y1, b.y1) - max(a.y0, b.y0) > 1
    ]


class TestPlanMap:
    def test_key_names_what_is_drawn(self, scheme: Figure) -> None:
        assert key(scheme) == [
            "Source", "Source not used in this scheme", "Pipe, 25 mm outside diameter",
            "Pipe in the ground already, taken as 25 mm", "Pipe, 32 mm outside diameter",
            "Pipe, 40 mm outside diameter",
            "Outlet, with its number", "Outlet without the water it needs",
            "Outlet that no pipe can reach",
            "Summit: place for an air valve", "Hollow: place for a washout",
            "Drain at a low end", "Break tank", "Stop valve", "Meter (M)",
            "Walk of 0 to 50 m", "Walk of 50 to 100 m", "Walk of 100 to 150 m",
            "Walk of 150 to 200 m", "Walk of 200 to 240 m", "Ground out of reach of water",
            "Paddock boundary", "Kept clear of stock and pipe", "Watercourse", "Lane or track",
            "Gateway", "Ground contour, every 5 m",
        ]  # fmt: skip

    def test_key_leaves_out_what_is_not_there(self, plan: Plan) -> None:
        none = plan.holding.features.existing_pipe
        bare = replace(
            plan, holding=replace(plan.holding, features=type(plan.holding.features)(*[none] * 5))
        )
        labels = key(plan_map(bare, plan_layers(bare)))
        assert not {"Watercourse", "Gateway", "Lane or track"} & set(labels)

    def test_every_paddock_and_outlet_is_named(self, scheme: Figure, plan: Plan) -> None:
        found = " ".join(texts(scheme)).replace("\n", " ")
        for name in plan.holding.paddocks["name"]:
            assert name in found
        assert {"1", "2", "3", "4", "5"} <= set(texts(scheme))
        assert "road main" in texts(scheme)

    def test_scale_north_crs_and_credits(self, scheme: Figure) -> None:
        found = texts(scheme)
        assert {"N", "grid north", "1:4,000 when printed at actual size"} <= set(found)
        (footer,) = [text for text in found if text.startswith("Grid:")]
        assert "EPSG:27700" in footer
        assert "Heights: invented for this test" in footer
        assert "not a design certificate" in footer

    def test_the_map_is_true_to_its_scale(self, scheme: Figure) -> None:
        axes = scheme.axes[0]
        width_in = axes.get_position().width * scheme.get_figwidth()
        height_in = axes.get_position().height * scheme.get_figheight()
        across, up = np.ptp(axes.get_xlim()), np.ptp(axes.get_ylim())
        assert across / (width_in * 0.0254) == pytest.approx(4000, rel=1e-6)
        assert up / (height_in * 0.0254) == pytest.approx(4000, rel=1e-6)

    def test_the_scale_bar_is_as_long_as_it_says(self, scheme: Figure) -> None:
        (bar,) = [axes for axes in scheme.axes if axes.get_label() == "scale bar"]
        blocks = [patch for patch in bar.patches if hasattr(patch, "get_width")]
        width_in = sum(patch.get_width() for patch in blocks)
        assert width_in * 0.0254 * 4000 == pytest.approx(100)
        assert "100 m" in texts(scheme)

    def test_the_key_shows_the_bands_in_the_tone_of_the_map(
        self, plan: Plan, layers: Layers
    ) -> None:
        """A pixel of the key's colour against one of the map, on ground of one even slope."""
        surface = plan.holding.surface
        tilted = tuple(
            replace(
                grid,
                values=np.broadcast_to(
                    np.arange(grid.values.shape[1]) * 0.2, grid.values.shape
                ).copy(),
            )
            for grid in surface.layers
        )
        holding = replace(plan.holding, surface=replace(surface, layers=tilted))
        figure = drawn(plan_map(replace(plan, holding=holding), layers))
        canvas = FigureCanvasAgg(figure)
        canvas.draw()
        pixels = np.asarray(canvas.buffer_rgba())[..., :3] / 255.0
        (shade,) = [
            handle.get_facecolor()
            for label, handle in zip(key(figure), figure.legends[0].legend_handles, strict=True)
            if label == "Walk of 0 to 50 m"
        ]
        assert shade[3] == 1.0  # opaque: the white of the key must not shine through
        outlets = plan.network.nodes.geometry[plan.network.nodes["kind"] == "outlet"]
        ring = shapely.get_coordinates(outlets.buffer(30.0).to_numpy())
        x, y = figure.axes[0].transData.transform(ring).astype(int).T
        seen = np.median(pixels[pixels.shape[0] - y, x], axis=0)
        np.testing.assert_allclose(seen, shade[:3], atol=2 / 255)

    def test_fits_on_a4(self, scheme: Figure) -> None:
        assert sorted(scheme.get_size_inches()) <= [8.27 + 1e-6, 11.69 + 1e-6]

    def test_no_name_lies_on_another(self, scheme: Figure, plan: Plan) -> None:
        found = texts(scheme)
        names = [t for t in found if any(n in t for n in plan.holding.paddocks["name"])]
        names += ["road main", "hill tank", "1", "2", "3", "4", "5"]
        names += [t for t in found if t.startswith("pipe ")]
        assert len(boxes(scheme, names)) >= 4 + 2 + 5 + 4
        assert overlaps(boxes(scheme, names)) == []

    def test_furniture_and_map_share_no_ground(self, scheme: Figure) -> None:
        renderer = FigureCanvasAgg(scheme).get_renderer()
        frame, *others = [axes.get_window_extent(renderer) for axes in scheme.axes]
        others.append(scheme.legends[0].get_window_extent(renderer))
        others += [text.get_window_extent(renderer) for text in scheme.texts]
        assert overlaps([frame, *others]) == []
        page = scheme.bbox
        assert all(box.x1 <= page.x1 and box.y0 >= page.y0 for box in others)

    def test_unmet_requirements_are_said(self, scheme: Figure) -> None:
        assert any("1 of 2 requirements not met" in text for text in texts(scheme))

    @pytest.mark.parametrize("stretch", [(6.0, 1.0), (1.0, 6.0), (40.0, 40.0), (0.05, 0.05)])
    def test_any_shape_of_holding_fits_its_sheet(
        self, plan: Plan, stretch: tuple[float, float]
    ) -> None:
        def scale(values: np.ndarray) -> np.ndarray:
            return (values - [400_000, 480_000]) * stretch + [400_000, 480_000]

        layers = {
            kind: layer.set_geometry(shapely.transform(layer.geometry.array, scale))
            for kind, layer in plan_layers(plan).items()
        }
        layers = {k: layer.set_crs(27700, allow_override=True) for k, layer in layers.items()}
        figure = drawn(plan_map(plan, layers))
        assert sorted(figure.get_size_inches()) <= [8.27 + 1e-6, 11.69 + 1e-6]
        west, east = figure.axes[0].get_xlim()
        south, north = figure.axes[0].get_ylim()
        bounds = layers["paddock"].total_bounds
        assert west < bounds[0] < bounds[2] < east
        assert south < bounds[1] < bounds[3] < north
        self.test_furniture_and_map_share_no_ground(figure)

    def test_configuration_of_the_user_changes_nothing(self, plan: Plan, layers: Layers) -> None:
        def pixels() -> bytes:
            canvas = FigureCanvasAgg(plan_map(plan, layers))
            canvas.draw()
            return bytes(canvas.buffer_rgba())

        before = pixels()
        with mpl.rc_context({"font.family": "serif", "text.color": "red", "figure.dpi": 40}):
            assert pixels() == before


class TestPipeOnTheMap:
    def test_larger_pipe_is_drawn_wider(self) -> None:
        widths = widths_pt([63.0, 20.0, 32.0])
        assert widths[20.0] < widths[32.0] < widths[63.0]
        assert list(widths_pt([25.0])) == [25.0]

    def test_sizes_stand_beside_the_pipe(self, scheme: Figure) -> None:
        found = texts(scheme)
        assert sum("40 mm" in text and "Pipe" not in text for text in found) == 1
        assert sum(text.endswith("32 mm") for text in found) >= 2

    def test_no_node_covers_what_stands_on_the_pipe(self, plan: Plan, layers: Layers) -> None:
        """Two stop valves at one fork, a meter and a valve at the source: each seen."""
        axes = Figure().add_axes((0, 0, 1, 1))
        metres_per_point = 4000 * 0.0254 / 72
        places = []
        for kind in ("stop_valve", "meter", "drain", "washout", "air_valve"):
            places += draw_on_pipe(axes, kind, layers, metres_per_point)[1]
        nodes = shapely.MultiPoint(list(plan.network.nodes.geometry))
        assert len(places) > 6
        assert all(place.distance(nodes) > 8 * metres_per_point for place in places)
        pairs = itertools.combinations(places, 2)
        assert all(one.distance(other) > 5 * metres_per_point for one, other in pairs)
        lines = layers["pipe"].union_all()
        assert all(place.distance(lines) < 1e-6 for place in places)

    def test_outlets_without_enough_head_are_hollow(self, plan: Plan) -> None:
        heads = plan.scheme.sizes.outlets.assign(residual_head_m=[5.0, 0.5, 20.0, 9.0])
        short = with_scheme(plan, sizes=replace(plan.scheme.sizes, outlets=heads))
        figure = plan_map(short, plan_layers(short))
        by_label = dict(zip(key(figure), figure.legends[0].legend_handles, strict=True))
        hollow = [
            label
            for label, handle in by_label.items()
            if label.startswith("Outlet") and handle.get_markerfacecolor() == "white"
        ]
        assert hollow == ["Outlet without the water it needs", "Outlet that no pipe can reach"]


class TestPressureMap:
    def test_figures_stand_beside_outlets_and_pipes(
        self, pressure: Figure, layers: Layers
    ) -> None:
        found = texts(pressure)
        for head in layers["outlet"]["residual_head_m"].dropna():
            assert f"{head:.1f} m".replace("-", "−") in found
        # 0.1 bar of water of 999.70 kg/m3 is 1.0200 m of head (g = 9.80665 m/s2).
        for head in layers["pipe"]["highest_static_head_m"]:
            assert f"{head / 10.2002:.1f} bar" in found

    def test_an_outlet_behind_high_ground_is_dry(self, plan: Plan, layers: Layers) -> None:
        """Head at the trough is worth nothing where water does not come over the hill before."""
        sizes = plan.scheme.sizes
        hill = sizes.grade["pipe 3"].copy()
        hill.loc[3, "ground_level_m"] = SOURCE_LEVEL_M + 6.0
        high = with_scheme(plan, sizes=replace(sizes, grade={**sizes.grade, "pipe 3": hill}))
        layers = plan_layers(high)
        served = layers["outlet"].set_index("name")["served"]
        assert dict(served) == {
            "outlet 1": True, "outlet 2": False, "outlet 3": True, "outlet 4": False,
            "outlet 5": False,
        }  # fmt: skip
        found = texts(drawn(pressure_map(high, layers)))
        assert found.count("dry") == 1
        assert any("dry behind high ground" in text for text in found)

    def test_key_tells_class_and_bands(self, pressure: Figure) -> None:
        assert "Pipe of class 12.5 bar" in key(pressure)
        assert "Outlet that no pipe can reach" in key(pressure)
        assert sum("m of head" in label for label in key(pressure)) >= 2

    def test_outlets_are_filled_by_their_head(self, plan: Plan) -> None:
        heads = plan.scheme.sizes.outlets.assign(residual_head_m=[9.9, 10.0, 39.9, 60.0])
        changed = with_scheme(plan, sizes=replace(plan.scheme.sizes, outlets=heads))
        labels = [t for t in key(pressure_map(changed, plan_layers(changed))) if "of head" in t]
        assert labels == [
            "Outlet with less than 10 m of head", "Outlet with 10 to 20 m of head",
            "Outlet with 20 to 40 m of head", "Outlet with 60 m of head or more",
        ]  # fmt: skip

    def test_shades_darken_also_in_grey(self) -> None:
        """Relative luminance as WCAG 2 defines it, weights from memory."""
        weights = np.array([0.2126, 0.7152, 0.0722])
        grey = [float(np.array(mpl.colors.to_rgb(shade)) @ weights) for shade in HEAD_SHADES]
        assert (np.diff(grey) < -0.1).all()

    def test_no_figure_lies_on_another(self, pressure: Figure) -> None:
        found = [t for t in texts(pressure) if re.fullmatch(r"−?[\d.]+ (m|bar)", t)]
        assert len(found) >= 8
        assert overlaps(boxes(pressure, found)) == []


class TestReachMap:
    def test_key(self, reach: Figure) -> None:
        labels = key(reach)
        assert "Line of equal walk [m]" in labels
        assert "Ground out of reach of water" in labels
        assert [label for label in labels if label.startswith("Walk of")][-1].endswith("240 m")

    def test_full_cover_is_never_claimed_by_rounding(self, plan: Plan, layers: Layers) -> None:
        totals = {**plan.totals, "covered_share": 0.99999}
        almost = with_scheme(plan, appraisal=replace(plan.scheme.appraisal, totals=totals))
        found = texts(reach_map(almost, layers))
        assert any("99.9 % of grazed ground" in text for text in found)

    def test_lines_of_equal_walk_carry_their_value(self, reach: Figure) -> None:
        assert {"50", "100", "150", "200"} <= set(texts(reach))

    def test_bands_are_drawn_where_the_walk_is_so_long(self, reach: Figure, plan: Plan) -> None:
        """The colour of a pixel against the walk worked out by hand at that place."""
        canvas = FigureCanvasAgg(reach)
        canvas.draw()
        pixels = np.asarray(canvas.buffer_rgba())
        shades = {
            label: tuple(round(255 * part) for part in handle.get_facecolor()[:3])
            for label, handle in zip(key(reach), reach.legends[0].legend_handles, strict=True)
            if label.startswith("Walk of")
        }
        outlet = plan.network.nodes.geometry["outlet 1"]
        for metres, label in ((25, "Walk of 0 to 50 m"), (75, "Walk of 50 to 100 m")):
            x, y = reach.axes[0].transData.transform((outlet.x + 3, outlet.y + metres / 1.02))
            assert tuple(pixels[pixels.shape[0] - int(y), int(x)][:3]) == shades[label]


class TestSections:
    def test_one_for_each_end_and_all_pipes_in_some(self, plan: Plan) -> None:
        lines = section_lines(plan.network)
        assert lines == {
            "01-road-main-to-outlet-2": ("pipe 1", "pipe 2", "pipe 3"),
            "02-road-main-to-outlet-4": ("pipe 1", "pipe 2", "pipe 4", "pipe 5"),
        }
        assert {pipe for line in lines.values() for pipe in line} == set(plan.network.pipes.index)

    def test_axes_are_in_metres(self, section: Figure) -> None:
        axes = section.axes[0]
        assert section.axes[1].get_xlabel() == "Distance along the pipe from the source (m)"
        assert axes.get_ylabel() == "Level above Newlyn datum (m)"

    def test_exaggeration_is_as_stated(self, section: Figure) -> None:
        axes = section.axes[0]
        box = axes.get_window_extent()
        per_pixel_x = np.ptp(axes.get_xlim()) / box.width
        per_pixel_y = np.ptp(axes.get_ylim()) / box.height
        stated = [text.split("exaggeration ")[1] for text in texts(section) if "exagg" in text]
        assert per_pixel_x / per_pixel_y == pytest.approx(float(stated[0]), rel=1e-6)
        assert float(stated[0]) > 1

    def test_lines_are_those_of_the_sizing(self, section: Figure, plan: Plan) -> None:
        lines = {line.get_label(): line for line in section.axes[0].get_lines()}
        table = pd.concat([plan.scheme.sizes.grade[f"pipe {i}"] for i in (1, 2, 4, 5)])
        for label, column in (
            ("Ground", "ground_level_m"),
            ("Static water level (no flow)", "static_level_m"),
            ("Hydraulic grade at design flow, lowest", "grade_level_m"),
        ):
            np.testing.assert_array_equal(lines[label].get_ydata(), table[column])
        assert set(table["static_level_m"]) == {SOURCE_LEVEL_M, BREAK_LEVEL_M}

    def test_a_class_limit_far_above_is_said_not_drawn(self, section: Figure, plan: Plan) -> None:
        assert "Limit of the pipe's class" not in key(section)
        table = pd.concat([plan.scheme.sizes.grade[f"pipe {i}"] for i in (1, 2, 4, 5)])
        room = CLASS_HEAD_M - (table["static_level_m"] - table["ground_level_m"]).max()
        said = f"class limit {room:.1f} m above still water at least, beyond the sheet"
        assert any(said in text for text in texts(section))

    def test_a_class_limit_near_by_is_drawn_whole(self, plan: Plan, layers: Layers) -> None:
        sizes = plan.scheme.sizes
        grade = {
            name: table.assign(class_limit_level_m=table["ground_level_m"] + 48.0)
            for name, table in sizes.grade.items()
        }
        weak = with_scheme(plan, sizes=replace(sizes, grade=grade))
        figure = drawn(long_section(weak, layers, ("pipe 1", "pipe 2"), 1))
        (line,) = [
            line
            for line in figure.axes[0].get_lines()
            if line.get_label() == "Limit of the pipe's class"
        ]
        assert figure.axes[0].get_ylim()[1] > np.max(line.get_ydata())
        assert "beyond the sheet" not in " ".join(texts(figure))

    def test_sizes_stand_under_the_axis(self, section: Figure) -> None:
        band = section.axes[1]
        found = {text.get_text(): text.get_position()[0] for text in band.texts}
        ends = [line.get_xdata()[0] for line in band.get_lines() if len(line.get_xdata()) == 2]
        assert {"40 mm PE80 SDR 11", "25 mm PE80 SDR 11"} <= set(found)
        # Pipes 2 and 4 are alike and follow each other: one entry for both.
        assert [text.get_text() for text in band.texts].count("32 mm PE80 SDR 11") == 1
        assert any(abs(x - found["32 mm PE80 SDR 11"]) < 1 for x in ends) is False

    def test_where_no_pipe_will_do_it_is_said(self, plan: Plan, layers: Layers) -> None:
        none = with_scheme(plan, sizes=nothing_fits(plan.scheme.sizes))
        figure = drawn(long_section(none, layers, ("pipe 1", "pipe 2", "pipe 3"), 1))
        assert "Hydraulic grade at design flow, lowest" not in key(figure)
        assert any("no pipe on offer will do" in text for text in texts(figure))
        assert "none will do" in texts(figure)

    def test_summits_hollows_and_stops_are_named(
        self, section: Figure, layers: Layers, plan: Plan
    ) -> None:
        found = texts(section)
        for kind in ("air_valve", "washout", "break_tank"):
            rows = layers[kind][
                layers[kind]["pipe"].isin(["pipe 1", "pipe 2", "pipe 4", "pipe 5"])
            ]
            assert len(rows)
            for row in rows.itertuples():
                assert f"{row.name}, {row.ground_level_m:.1f} m" in found
        outlets = layers["outlet"].set_index("name")
        for node in ("outlet 1", "outlet 3", "outlet 4"):
            still, flowing = outlets.loc[node, ["static_head_m", "residual_head_m"]]
            named = f"{node}, head {still:.1f} m still, {flowing:.1f} m flowing"
            assert named.replace(" -", " −") in found
        for node in ("road main", "junction 1"):
            head = plan.heads.nodes.at[node, "static_head_m"]
            assert any(t.startswith(f"{node}, head {head:.1f} m still") for t in found)

    def test_no_node_covers_a_summit_that_lies_at_it(self, section: Figure, plan: Plan) -> None:
        """The summit beside outlet 3 is drawn above the ground line, the far one on it."""
        (line,) = [
            line
            for line in section.axes[0].get_lines()
            if line.get_label() == "Summit: place for an air valve"
        ]
        levels = np.asarray(line.get_ydata())
        table = pd.concat([plan.scheme.sizes.grade[f"pipe {i}"] for i in (1, 2, 4, 5)])
        ground = np.interp(line.get_xdata(), table["distance_m"], table["ground_level_m"])
        assert levels[0] == pytest.approx(ground[0])
        assert levels[1] - ground[1] > 0.5

    def test_no_name_lies_on_another_or_on_the_titles(self, section: Figure) -> None:
        found = texts(section)
        upright = [t for t in found if " m still, " in t]
        upright += [t for t in found if t.startswith(("air valve", "washout", "break tank"))]
        assert len(upright) > 8
        titles = [text.get_text() for text in section.texts]
        assert overlaps(boxes(section, [*upright, *titles])) == []

    def test_ground_above_the_static_level_is_marked(self, plan: Plan, layers: Layers) -> None:
        sizes = plan.scheme.sizes
        grade = {
            name: table.assign(grade_level_m=table["grade_level_m"] - 25.0)
            for name, table in sizes.grade.items()
        }
        low = with_scheme(plan, sizes=replace(sizes, grade=grade))
        figure = drawn(long_section(low, layers, ("pipe 1", "pipe 2", "pipe 4", "pipe 5"), 1))
        assert "Ground above the water" in key(figure)

    @pytest.mark.parametrize("factor", [0.01, 30.0])
    def test_short_and_long_pipes_fit(self, plan: Plan, layers: Layers, factor: float) -> None:
        sections = {
            name: replace(section, distance_m=section.distance_m * factor)
            for name, section in plan.heads.sections.items()
        }
        grade = {
            name: table.assign(distance_m=table["distance_m"] * factor)
            for name, table in plan.scheme.sizes.grade.items()
        }
        scaled = with_scheme(
            plan,
            heads=replace(plan.heads, sections=sections),
            sizes=replace(plan.scheme.sizes, grade=grade),
        )
        points = {
            kind: layers[kind].assign(distance_m=layers[kind]["distance_m"] * factor)
            for kind in ("air_valve", "washout", "break_tank")
        }
        figure = long_section(scaled, {**layers, **points}, ("pipe 1", "pipe 2", "pipe 4"), 1)
        low, high = drawn(figure).axes[0].get_ylim()
        assert low < 214
        assert high > SOURCE_LEVEL_M


class TestSmallRules:
    def test_round_numbers(self) -> None:
        assert [round_up(v) for v in (0.9, 1.0, 1.1, 21.0, 260.0)] == [1, 1, 2, 25, 500]
        assert [round_down(v) for v in (1.0, 1.9, 49.0, 500.0)] == [1, 1, 20, 500]
        # 1,000 m on 8 inches (0.2032 m): 1:4,921 at least, so 1:5,000.
        assert map_scale(1000.0, 8.0) == 5000

    @pytest.mark.parametrize(
        ("limit", "edges"),
        [
            (400.0, [0, 100, 200, 300, 400]),
            (LIMIT_M, [0, 50, 100, 150, 200, 240]),
            (300.0, [0, 60, 120, 180, 240, 300]),
            (402.0, [0, 100, 200, 300, 402]),
            (1.0, [0, 0.2, 0.4, 0.6, 0.8, 1]),
        ],
    )
    def test_bands(self, limit: float, edges: list[float]) -> None:
        assert walk_bands(limit) == pytest.approx(edges)

    @pytest.mark.parametrize("limit", np.geomspace(0.5, 5000, 60))
    def test_there_is_a_shade_for_every_band(self, limit: float) -> None:
        from dewpond.outputs.drawing.lettering import walk_shades

        edges = walk_bands(float(limit))
        assert len(walk_shades(len(edges) - 1)) == len(edges) - 1 <= 6
        assert edges == sorted(set(edges))

    def test_shades_darken_also_in_grey(self) -> None:
        """Relative luminance as WCAG 2 defines it, weights from memory."""
        from matplotlib.colors import to_rgb

        from dewpond.outputs.drawing.lettering import WALK_SHADES

        weights = np.array([0.2126, 0.7152, 0.0722])
        grey = [float(np.array(to_rgb(shade)) @ weights) for shade in WALK_SHADES]
        assert (np.diff(grey) < -0.04).all()

    @pytest.mark.parametrize(
        ("name", "expected"),
        [
            ("Road main", "road-main"),
            ("../../etc/passwd", "etc-passwd"),
            ("C:\\nul.txt", "c-nul-txt"),
            ("水", "x"),
            ("Šumava 3", "sumava-3"),
            ("a" * 99, "a" * 30),
        ],
    )
    def test_slug(self, name: str, expected: str) -> None:
        assert slug(name) == expected

    def test_plain(self) -> None:
        assert plain("two\nlines\tand\u0007bell") == "two lines and bell"
        # Cuneiform: in no font of ours, nor in the extra one for other scripts.
        assert plain("\U00012000 field") == "□ field"
        assert plain("Поле") == "Поле"
        # Accents join their letter (Unicode normal form C); what only steers direction goes,
        # the non-joiner that shapes Persian stays.
        assert plain("e\u0301cole") == "\u00e9cole"
        assert plain("\u2067שדה\u2069") == "שדה"
        assert plain("می\u200cروم") == "می\u200cروم"
        assert plain("x" * 80, 10) == "x" * 9 + "…"

    def test_spread_keeps_order_gap_and_limits(self) -> None:
        at = np.array([0.0, 1.0, 1.5, 50.0, 99.9, 100.0])
        out = spread_out(at, 5.0, 0.0, 100.0)
        assert (np.diff(out) >= 5 - 1e-9).all()
        assert out.min() >= 0
        assert out.max() <= 100
        assert out[3] == 50

    def test_free_space_never_gives_the_same_place_twice(self) -> None:
        frame = shapely.box(0, 0, 100, 100)
        space = FreeSpace(frame, [shapely.LineString([(50, 0), (50, 100)])])
        taken = []
        while (place := space.in_polygon(frame, 20, 10, strict=True)) is not None:
            taken.append(shapely.box(place[0] - 10, place[1] - 5, place[0] + 10, place[1] + 5))
        assert len(taken) > 8
        assert not any(a.intersects(b) for a, b in itertools.combinations(taken, 2))


def test_names_are_never_read_as_formulas() -> None:
    plan = make_plan(("$\\alpha$", "a$b$c", "_x_^2$", "\\frac{"))
    figure: Any = drawn(plan_map(plan, plan_layers(plan)))
    assert "$\\alpha$\n7.6 ha" in texts(figure)
    named = [text for text in figure.findobj(Text) if "$" in text.get_text()]
    assert named
    assert not any(text.get_parse_math() for text in named)


def test_a_holding_without_any_outlet_is_drawn_all_the_same(plan: Plan, tmp_path: Any) -> None:
    """The plan that fails altogether is the one that most needs its map."""
    network = replace(
        plan.network,
        nodes=plan.network.nodes.iloc[:1],
        pipes=plan.network.pipes.iloc[:0],
        unconnected=(),
    )
    siting = replace(
        plan.siting,
        sites=(),
        nearest_site=np.full_like(plan.siting.nearest_site, -1),
        walk_m=np.full_like(plan.siting.walk_m, np.nan),
        unreachable=np.ones_like(plan.siting.unreachable),
    )
    heads = replace(
        plan.heads, nodes=plan.heads.nodes.iloc[:1], pipes=plan.heads.pipes.iloc[:0], sections={}
    )
    empty = with_scheme(plan, network=network, siting=siting, heads=heads, **no_water())
    names = [path.name for path in write_plan(empty, tmp_path / "out")]
    assert {"plan.geojson", "plan.png", "pressure.png", "reach.png", "points.gpx"} <= set(names)
    assert not [name for name in names if name[0].isdigit() or name == "all.png"]
    figure = drawn(reach_map(empty, plan_layers(empty)))
    assert "Ground out of reach of water" in key(figure)
    assert "Outlet, with its number" not in key(figure)


class TestWrappedNames:
    """A name without blanks is broken too, so that it does not run over its neighbours."""

    @pytest.mark.parametrize(
        "name",
        ["Upper-Whinfell-and-Nether-Whinfell-Long-Pasture", "W" * 60, "Lane Ing", "a/b_c-" * 9],
    )
    def test_no_line_is_wider_than_its_room_and_no_letter_is_lost(self, name: str) -> None:
        from dewpond.outputs.drawing.lettering import text_size_pt, wrap

        lines = wrap(name, 8.0, 60.0).split("\n")
        assert all(text_size_pt(line, 8.0)[0] <= 60.0 for line in lines)
        assert "".join(lines).replace(" ", "") == name.replace(" ", "")

    def test_hyphens_come_before_letters(self) -> None:
        from dewpond.outputs.drawing.lettering import wrap

        assert wrap("Upper-Whinfell Long", 8.0, 50.0).split("\n") == ["Upper-", "Whinfell", "Long"]
