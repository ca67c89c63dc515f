"""What is measured on the paper: scale, size of the sheets, scale bar, grid."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
import shapely
from drawn import POINTS_PER_MM, drawn_paths, read_pages, same_shape
from grid_plan import SOUTH, WEST, grid_plan

from dewpond.base.model import Plan
from dewpond.base.units import METRES_PER_FOOT
from dewpond.outputs.drawing.plan_sheet import save_plan_sheets
from dewpond.outputs.drawing.plan_sheet.division import divide

# ISO 216:2007, trimmed sizes of the A series [mm].
ISO_216_MM = {"A4": (297.0, 210.0), "A3": (420.0, 297.0), "A1": (841.0, 594.0)}


def write(tmp_path: Path, *size, **documents) -> list:
    plan, layers = grid_plan(*size, **documents)
    path = tmp_path / "sheets.pdf"
    save_plan_sheets(plan, layers, path)
    return read_pages(path)


def printed_scale(text: str) -> float:
    found = re.search(r"1:([\d,]+)(?: \(1 in = [\d,]+ ft\))?\s+·\s+A\d", text)
    assert found, text
    return float(found.group(1).replace(",", ""))


def is_map(page) -> bool:
    return "Drinking water: plan" in page.extract_text()


def test_paddock_corners_lie_apart_on_paper_as_the_scale_says(plan: Plan, hand_sheets) -> None:
    """Corner to corner of a real outline against the ground, through the figure printed."""
    (page,) = [page for page in read_pages(hand_sheets) if is_map(page)]
    denominator = printed_scale(page.extract_text())
    for shape in plan.holding.paddocks.geometry:
        ring = shapely.get_coordinates(shape.exterior)
        drawn = same_shape(page, ring, denominator, tolerance_mm=1.0)
        assert drawn is not None
        ground_m = np.hypot(*(ring[2] - ring[0]))
        paper_m = np.hypot(*(drawn[2] - drawn[0])) / POINTS_PER_MM / 1000
        assert ground_m / paper_m == pytest.approx(denominator, rel=0.0005)


def test_every_map_of_a_divided_holding_is_true_to_its_scale(divided_pages, divided_texts) -> None:
    """Paddocks are 200 m squares: their sides are 80 mm at 1:2500, on each sheet."""
    both = zip(divided_pages, divided_texts, strict=True)
    maps = [(page, text) for page, text in both if "Drinking water: plan" in text]
    assert len(maps) >= 4
    square = shapely.get_coordinates(shapely.box(0, 0, 200, 200))
    for page, text in maps:
        assert printed_scale(text) == 2500
        drawn = same_shape(page, square, 2500, tolerance_mm=0.4)
        assert drawn is not None
        sides = np.hypot(*np.diff(drawn, axis=0).T) / POINTS_PER_MM
        np.testing.assert_allclose(sides, 80.0, rtol=0.0005)


@pytest.mark.parametrize("paper", ["A4", "A3", "A1"])
def test_all_sheets_have_the_size_of_the_standard(paper: str, tmp_path: Path) -> None:
    pages = write(tmp_path, 2, 1, paper=paper)
    for page in pages:
        size_mm = [float(side) / POINTS_PER_MM for side in page.mediabox[2:]]
        assert size_mm == pytest.approx(ISO_216_MM[paper], abs=0.1)
        assert [float(side) for side in page.mediabox[:2]] == [0, 0]
        assert f"·  {paper}" in page.extract_text()


def test_crosses_of_the_grid_stand_at_round_coordinates(divided_pages, divided_texts) -> None:
    """The south-west corner of a paddock lies on a cross: both at multiples of 100 m."""
    crosses = {}
    for page, text in zip(divided_pages, divided_texts, strict=True):
        if "Drinking water: plan" not in text:
            continue
        arms = [
            path for path, state in drawn_paths(page)
            if len(path) == 2 and np.ptp(path[:, 0]) == pytest.approx(3 * POINTS_PER_MM, abs=0.01)
            and state["width"] == pytest.approx(0.3)
        ]  # fmt: skip
        level = np.array([arm.mean(axis=0) for arm in arms if arm[0, 1] == arm[1, 1]])
        x = np.unique(level[:, 0].round(3))
        gaps_mm = np.diff(x) / POINTS_PER_MM
        np.testing.assert_allclose(gaps_mm, 100_000 / 2500, rtol=0.0005)
        crosses[page.page_number] = len(level)
    assert min(crosses.values()) > 4


def test_grid_figures_tell_where_a_paddock_is(tmp_path: Path) -> None:
    """From the figures on the frame alone, the corner of the first paddock has its coordinates."""
    from pypdf import PageObject

    plan, layers = grid_plan(2, 2)
    path = tmp_path / "sheets.pdf"
    save_plan_sheets(plan, layers, path)
    page: PageObject = read_pages(path)[0]
    denominator = printed_scale(page.extract_text())
    square = shapely.get_coordinates(shapely.box(0, 0, 200, 200))
    corners = same_shape(page, square, denominator)
    assert corners is not None
    at: dict[str, float] = {}

    def visit(text, matrix, text_matrix, font, size) -> None:
        if re.fullmatch(r"\d{6} E\s*", text):
            at[text.strip()] = text_matrix[4] + matrix[4]

    page.extract_text(visitor_text=visit)
    assert len(at) >= 2
    (first, x1), (second, x2) = sorted(at.items())[:2]
    # Figures are centred on their ticks and equally wide, so that their left edges are as far
    # apart as the ticks.
    per_point = (int(second[:6]) - int(first[:6])) / (x2 - x1)
    assert per_point * POINTS_PER_MM * 1000 == pytest.approx(denominator, rel=0.005)
    ticks = [p for p, s in drawn_paths(page) if len(p) == 2 and abs(p[0, 0] - p[1, 0]) < 1e-3
             and np.ptp(p[:, 1]) == pytest.approx(1.5 * POINTS_PER_MM, rel=0.01)]  # fmt: skip
    tick = min((t[0, 0] for t in ticks), key=lambda x: abs(x - x1 - 10))
    east = int(first[:6]) + (corners[:, 0].min() - tick) * per_point
    assert east % 200 == pytest.approx(0, abs=1) or east % 200 == pytest.approx(200, abs=1)
    assert WEST % 200 == 0
    assert SOUTH % 200 == 0


def bar_mm(page) -> float:
    """Length of the scale bar: four boxes of one size side by side, black and white in turn."""
    boxes = [
        path for path, state in drawn_paths(page)
        if state.get("filled") and len(path) in (4, 5)
        and np.ptp(path[:, 1]) == pytest.approx(1.8 * POINTS_PER_MM, abs=0.01)
    ]  # fmt: skip
    assert len(boxes) == 4
    assert len({round(float(np.ptp(box[:, 0])), 3) for box in boxes}) == 1
    return float(np.ptp(np.concatenate(boxes)[:, 0])) / POINTS_PER_MM


def bar_end(page, unit: str) -> float:
    """The last figure of the scale bar: 0, a quarter, a half and the whole stand in a row."""
    found = re.search(rf"^0 ([\d.]+) ([\d.]+) ([\d.]+) {unit}$", page.extract_text(), re.M)
    assert found
    quarter, half, whole = (float(figure) for figure in found.groups())
    assert (4 * quarter, 2 * half) == (whole, whole)
    return whole


def test_scale_bar_is_as_long_as_it_says(divided_pages) -> None:
    page = divided_pages[0]
    assert bar_mm(page) == pytest.approx(bar_end(page, "m") * 1000 / 2500, rel=0.0005)


def test_scale_bar_and_engineers_scale_in_feet(tmp_path: Path) -> None:
    """On the engineer's rule one inch is a round number of feet: 1 in = 200 ft is 1:2400."""
    page = write(tmp_path, 3, 2, 150.0, units="US customary")[0]
    text = page.extract_text()
    feet_to_inch = float(re.search(r"1 in = ([\d,]+) ft", text).group(1).replace(",", ""))
    assert printed_scale(text) == pytest.approx(12 * feet_to_inch)
    ground_m = bar_end(page, "ft") * METRES_PER_FOOT
    assert bar_mm(page) == pytest.approx(ground_m * 1000 / printed_scale(text), rel=0.0005)


def test_smallest_paper_at_a_legible_scale_then_the_largest_scale_on_it() -> None:
    # One paddock of 300 m: A4 shows it at 1:2500 (120 mm of 137 mm high), not at 1:2000.
    one = divide(*grid_plan(1, 1, 300.0))
    assert (one.paper.name, one.scale, len(one.tiles)) == ("A4", 2500, 1)
    # 2 km by 1 km of 200 m paddocks: 30 mm each at 1:6667, so 1:5000, 400 mm: neither A4 nor A3.
    many = divide(*grid_plan(10, 5))
    assert (many.paper.name, len(many.tiles)) == ("A1", 1)
    assert many.scale <= 5000
    # On paper that is too small it is divided at the smallest legible scale.
    small = divide(*grid_plan(10, 5, paper="A3"))
    assert (small.paper.name, small.scale) == ("A3", 5000)
    assert len(small.tiles) == 2


def test_a_scale_that_is_set_is_kept_and_one_that_takes_too_many_sheets_is_told(
    tmp_path: Path,
) -> None:
    plan, layers = grid_plan(2, 2, scale=1234)
    assert divide(plan, layers).scale == 1234
    plan, layers = grid_plan(10, 10, paper="A4", scale=100)
    division = divide(plan, layers)
    assert division.asked == 100
    assert len(division.tiles) <= 60
    kept = divide(*grid_plan(2, 1, paper="A4", scale=1000))
    assert (kept.scale, kept.asked, len(kept.tiles)) == (1000, None, 6)


def test_sections_are_true_along_and_up(divided_pages, tmp_path: Path) -> None:
    """The band under a section is as long as its pipes; rules of level lie as far as they say."""
    plan, layers = grid_plan(3, 1)
    path = tmp_path / "sheets.pdf"
    save_plan_sheets(plan, layers, path)
    page = next(p for p in read_pages(path) if "long sections" in p.extract_text())
    text = page.extract_text()
    along, up = (float(re.search(rf"{word} 1:([\d,]+)", text).group(1).replace(",", ""))
                 for word in ("Along", "up"))  # fmt: skip
    length_m = float(plan.network.pipes["length_m"].sum())
    wanted = length_m * 1000 / along * POINTS_PER_MM
    level = [p for p, _ in drawn_paths(page) if len(p) == 2 and abs(p[0, 1] - p[1, 1]) < 1e-6]
    spans = np.array([np.ptp(p[:, 0]) for p in level])
    assert np.isclose(spans, wanted, rtol=0.0005).sum() >= 3
    rules = [p for p, s in drawn_paths(page) if len(p) == 2 and s["width"] == pytest.approx(0.25)
             and np.ptp(p[:, 0]) == pytest.approx(wanted, rel=0.001)]  # fmt: skip
    gap_m = np.diff(sorted(p[0, 1] for p in rules)) / POINTS_PER_MM / 1000 * up
    figures = sorted(
        float(line.replace(",", ""))
        for line in text.split("\n")
        if re.fullmatch(r"2[\d]{2}(\.\d)?", line)
    )
    assert len(set(np.diff(figures).round(3))) == 1
    np.testing.assert_allclose(gap_m, np.diff(figures)[0], rtol=0.001)
