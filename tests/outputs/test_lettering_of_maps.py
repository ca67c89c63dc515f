"""Lettering on every map: none on another, none off the frame; grey and colour-blind readers."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from crowded import crowded_layers
from hand_plan import make_plan
from lettering import frame_of, off, overlapping, page_of, pieces_of, unnamed
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure

import test_plan
from dewpond import load_project, plan_holding
from dewpond.base.model import Plan
from dewpond.base.settings.documents import DocumentsSettings
from dewpond.outputs.drawing import (
    long_section,
    plan_map,
    pressure_map,
    reach_map,
    section_lines,
    section_sheet,
    take_runs,
)
from dewpond.outputs.drawing.lettering import walk_shades
from dewpond.outputs.drawing.pressure import HEAD_SHADES
from dewpond.outputs.layers import Layers, plan_layers

MAPS = (plan_map, reach_map, pressure_map)
LONG = (
    "The far side of the long pasture beyond the old quarry and its spoil heap",
    "Llanfairpwllgwyngyllgogerychwyrndrobwllllantysiliogogoch",
    "Upper Upper Upper Meadow by the ford",
    "X",
)
SCRIPTS = (
    "المرعى الشمالي عند البئر",
    "השדה הצפוני של הבאר",
    "Příčná louka u Ďáblic",
    "Поле за рекой, Κάτω λιβάδι",
)


def in_feet(plan: Plan) -> Plan:
    documents = DocumentsSettings(units="US customary")
    return replace(plan, project=plan.project.model_copy(update={"documents": documents}))


def check(figure: Figure, names: list[str], title: str, most_unnamed: int = 0) -> None:
    """Hold all lettering of a map against itself, its frame, its page; tell what has no name."""
    pieces = pieces_of(figure)
    axes = figure.axes[0]
    ticks = [text.get_text() for text in (*axes.get_xticklabels(), *axes.get_yticklabels())]
    inside = [piece for piece in pieces[axes] if piece[0] not in ticks]
    everything = [piece for group in pieces.values() for piece in group]
    assert overlapping(everything) == []
    assert off(inside, frame_of(axes)) == []
    assert off(everything, page_of(figure)) == []
    missing = unnamed(inside, names)
    print(f"{title}: {len(everything)} texts, {len(missing)} of {len(names)} paddocks unnamed")
    assert len(missing) <= most_unnamed


def one_paddock(plan: Plan) -> Layers:
    layers = dict(plan_layers(plan))
    layers["paddock"] = layers["paddock"].iloc[:1]
    return layers


CASES: dict[str, Callable[[], tuple[Plan, Layers | None, int]]] = {
    "by hand": lambda: (make_plan(), None, 0),
    "in feet": lambda: (in_feet(make_plan()), None, 0),
    # Of a name longer than 40 letters the map shows the first 39.
    "long names": lambda: (make_plan(LONG, source_name="tap " * 30), None, 2),
    "other scripts": lambda: (make_plan(SCRIPTS, source_name="בור מים"), None, 0),
    "one paddock": lambda: (make_plan(), one_paddock(make_plan()), 0),
    # On the map of pressure the figures of the outlets go before the names of the paddocks.
    "200 outlets": lambda: (make_plan(), crowded_layers(make_plan()), 160),
}


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("draw", MAPS, ids=[draw.__name__ for draw in MAPS])
def test_no_lettering_lies_on_another_or_off_the_map(
    case: str, draw: Callable[[Plan, Layers], Figure]
) -> None:
    plan, layers, most_unnamed = CASES[case]()
    layers = plan_layers(plan) if layers is None else layers
    names = [" ".join(name.split()) for name in layers["paddock"]["name"]]
    check(draw(plan, layers), names, f"{case}, {draw.__name__}", most_unnamed)


def test_what_found_no_room_is_told_in_the_footer(plan: Plan) -> None:
    layers = crowded_layers(plan)
    figure = plan_map(plan, layers)
    inside = pieces_of(figure)[figure.axes[0]]
    missing = unnamed(inside, list(layers["paddock"]["name"]))
    assert missing
    (footer,) = [t.get_text() for t in figure.texts if t.get_text().startswith("Grid:")]
    told = " ".join(footer.split()).split("Too small to name here: ")[1]
    assert told.startswith(missing[0])
    assert len(missing) == told.count("Field") + int(
        (told + " and 0 more").split(" and ")[1].split()[0]
    )


@pytest.fixture(scope="module")
def sample(sample_project: Path) -> Plan:
    return plan_holding(load_project(sample_project))


@pytest.fixture(scope="module")
def lancashire(real_data: Path) -> Plan:
    return test_plan.lancashire(real_data)


@pytest.fixture(scope="module")
def new_south_wales(real_data: Path) -> Plan:
    return test_plan.new_south_wales(real_data)


@pytest.mark.slow
class TestWholePlans:
    """The sample, and the two real places where they are beside the clone."""

    @pytest.mark.parametrize("place", ["sample", "lancashire", "new_south_wales"])
    @pytest.mark.parametrize("draw", MAPS, ids=[draw.__name__ for draw in MAPS])
    def test_no_lettering_lies_on_another(
        self,
        place: str,
        draw: Callable[[Plan, Layers], Figure],
        request: pytest.FixtureRequest,
    ) -> None:
        real: Plan = request.getfixturevalue(place)
        names = list(real.holding.paddocks["name"])
        figure = draw(real, plan_layers(real))
        check(figure, names, f"{real.holding.name}, {draw.__name__}", len(names) // 2)


class TestSectionsSideBySide:
    def test_no_lettering_lies_on_another(self, plan: Plan) -> None:
        layers = plan_layers(plan)
        runs = take_runs(plan, layers, section_lines(plan.network))
        figure = section_sheet(plan, runs, 1)
        everything = [piece for group in pieces_of(figure).values() for piece in group]
        assert overlapping(everything) == []
        assert off(everything, page_of(figure)) == []

    def test_every_panel_has_the_same_scales(self, plan: Plan) -> None:
        runs = take_runs(plan, plan_layers(plan), section_lines(plan.network))
        panels = section_sheet(plan, runs, 1).axes
        assert len(panels) == len(runs) == 2
        assert {(axes.get_xlim(), axes.get_ylim()) for axes in panels} == {
            (panels[0].get_xlim(), panels[0].get_ylim())
        }
        sizes = {tuple(np.round(axes.get_position().size, 9)) for axes in panels}
        assert len(sizes) == 1

    def test_exaggeration_is_as_stated(self, plan: Plan) -> None:
        runs = take_runs(plan, plan_layers(plan), section_lines(plan.network))
        figure = section_sheet(plan, runs, 1)
        axes = figure.axes[0]
        box = axes.get_window_extent()
        stretched = (np.ptp(axes.get_xlim()) / box.width) / (np.ptp(axes.get_ylim()) / box.height)
        (line,) = [t.get_text() for t in figure.texts if "exaggeration" in t.get_text()]
        assert stretched == pytest.approx(float(line.split("exaggeration ")[1].split()[0]))

    def test_weakest_outlet_of_each_run_is_told(self, plan: Plan) -> None:
        layers = plan_layers(plan)
        runs = take_runs(plan, layers, section_lines(plan.network))
        outlets = layers["outlet"].set_index("name")
        spare = (outlets["residual_head_m"] - outlets["needed_head_m"]).dropna()
        ways = {1: ("outlet 1", "outlet 2"), 2: ("outlet 1", "outlet 3", "outlet 4")}
        for run in runs:
            own = spare[[name for name in ways[run.number] if name in spare.index]]
            assert run.weakest == own.idxmin()
            assert run.spare_m == pytest.approx(own.min())
        said = [t.get_text() for axes in section_sheet(plan, runs, 1).axes for t in axes.texts]
        assert any("short at outlet 4" in text for text in said)

    def test_many_sections_take_several_sheets(self, plan: Plan) -> None:
        from dewpond.outputs.drawing import section_sheets

        runs = take_runs(plan, plan_layers(plan), section_lines(plan.network))
        many = tuple(replace(runs[i % 2], number=i + 1) for i in range(40))
        assert [section_sheets(many[:n]) for n in (0, 1, 5, 6, 14, 15, 40)] == [
            0,
            1,
            1,
            1,
            1,
            2,
            3,
        ]
        shown = [len(section_sheet(plan, many, sheet).axes) for sheet in (1, 2, 3)]
        assert sum(shown) == 40
        assert max(shown) - min(shown) <= 2


class TestUnits:
    """International foot 0.3048 m, by definition; what is round must be round in feet."""

    def test_maps_speak_of_feet(self, plan: Plan) -> None:
        feet = in_feet(plan)
        layers = plan_layers(feet)
        for draw in MAPS:
            figure = draw(feet, layers)
            (legend,) = figure.legends
            labels = [text.get_text() for text in legend.get_texts()]
            assert not [label for label in labels if label.endswith(" m") or " m " in label]
        figure = plan_map(feet, layers)
        labels = [text.get_text() for text in figure.legends[0].get_texts()]
        # 240 m is 787.4 ft.
        assert [label for label in labels if label.startswith("Walk of")] == [
            "Walk of 0 to 200 ft", "Walk of 200 to 400 ft", "Walk of 400 to 600 ft",
            "Walk of 600 to 787 ft",
        ]  # fmt: skip
        assert "Pipe, 40 mm (1.57 in) outside diameter" in labels
        assert any(label.startswith("Ground contour, every") and "ft" in label for label in labels)

    def test_scale_bar_is_round_in_feet_and_as_long_as_it_says(self, plan: Plan) -> None:
        figure = plan_map(in_feet(plan), plan_layers(plan))
        (bar,) = [axes for axes in figure.axes if axes.get_label() == "scale bar"]
        width_in = sum(p.get_width() for p in bar.patches if hasattr(p, "get_width"))
        (label,) = [t.get_text() for t in bar.texts if t.get_text().endswith(" ft")]
        feet = float(label.removesuffix(" ft").replace(",", ""))
        scale = float(bar.texts[3].get_text().split()[0].removeprefix("1:").replace(",", ""))
        assert width_in * 0.0254 * scale / 0.3048 == pytest.approx(feet)
        assert feet in {100, 200, 500, 1000}

    def test_contours_lie_at_round_feet(self, plan: Plan) -> None:
        figure = plan_map(in_feet(plan), plan_layers(plan))
        labels = [text.get_text() for text in figure.legends[0].get_texts()]
        (every,) = [text for text in labels if text.startswith("Ground contour")]
        interval = float(every.split("every ")[1].removesuffix(" ft"))
        written = {text for text, _ in pieces_of(figure)[figure.axes[0]]}
        heights = [float(text) for text in written if text.isdigit() and float(text) > 600]
        assert heights
        assert all(height % interval == 0 for height in heights)

    def test_sections_speak_of_feet_on_data_in_metres(self, plan: Plan) -> None:
        feet = in_feet(plan)
        figure = long_section(feet, plan_layers(feet), ("pipe 1", "pipe 2"), 1)
        pieces_of(figure)
        assert figure.axes[0].get_ylabel() == "Level above Newlyn datum (ft)"
        ticks = [text.get_text() for text in figure.axes[0].get_yticklabels()]
        places = figure.axes[0].get_yticks()
        for text, place in zip(ticks, places, strict=True):
            assert float(text) * 0.3048 == pytest.approx(place)
            assert float(text) == round(float(text))
        said = " ".join(text.get_text() for text in figure.findobj(type(figure.texts[0])))
        assert " ft still" in said
        assert " psi" in said
        assert " m still" not in said


def linear(colour: str) -> np.ndarray:
    """Linear RGB of an sRGB colour, IEC 61966-2-1 (from memory)."""
    part = np.array(to_rgb(colour))
    return np.where(part <= 0.04045, part / 12.92, ((part + 0.055) / 1.055) ** 2.4)


def luminance(rgb: np.ndarray) -> float:
    """Relative luminance as WCAG 2 defines it, weights from memory."""
    return float(rgb @ [0.2126, 0.7152, 0.0722])


# Full loss of one kind of cone, linear RGB: Machado, Oliveira & Fernandes, IEEE Transactions on
# Visualization and Computer Graphics 15 (2009), 1291-1298, severity 1.0 (figures from memory).
LOSS = {
    "red": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216],
            [-0.003882, -0.048116, 1.051998]],
    "green": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413],
              [-0.011820, 0.042940, 0.968881]],
    "blue": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602],
             [0.004733, 0.691367, 0.303900]],
}  # fmt: skip


class TestReadersWithoutColour:
    @pytest.mark.parametrize("bands", range(2, 7))
    @pytest.mark.parametrize("loss", [None, *LOSS])
    def test_bands_darken_with_the_walk(self, bands: int, loss: str | None) -> None:
        """Neighbours differ by at least 1.15 to 1 in grey and with any one cone missing."""
        change = np.eye(3) if loss is None else np.array(LOSS[loss])
        shades = [luminance(np.clip(change @ linear(c), 0, 1)) for c in walk_shades(bands)]
        ratios = [(a + 0.05) / (b + 0.05) for a, b in itertools.pairwise(shades)]
        print(f"{bands} bands, {loss or 'grey'}: least ratio {min(ratios):.2f}")
        assert min(ratios) > 1.15

    @pytest.mark.parametrize("loss", [None, *LOSS])
    def test_heads_darken_with_the_head(self, loss: str | None) -> None:
        change = np.eye(3) if loss is None else np.array(LOSS[loss])
        shades = [luminance(np.clip(change @ linear(c), 0, 1)) for c in HEAD_SHADES]
        ratios = [(a + 0.05) / (b + 0.05) for a, b in itertools.pairwise(shades)]
        print(f"heads, {loss or 'grey'}: least ratio {min(ratios):.2f}")
        assert min(ratios) > 1.3

    def test_pipe_classes_differ_in_width_or_dash(self) -> None:
        from dewpond.outputs.drawing.pipework import _CLASS_STYLES

        assert len({(width, str(dash)) for width, dash in _CLASS_STYLES}) == len(_CLASS_STYLES)
        assert [width for width, _ in _CLASS_STYLES] == sorted(w for w, _ in _CLASS_STYLES)
