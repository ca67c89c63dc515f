"""The comparison as table, JSON and picture, from figures made by hand."""

from __future__ import annotations

import csv
import io
import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from dewpond.base.model import Change, Comparison, Outcome, Verdict
from dewpond.outputs import write_comparison
from dewpond.outputs.comparison import comparison_csv, comparison_json
from dewpond.outputs.drawing import comparison_chart

MET = Verdict("Grazed ground within reach", 1.0, 1.0, "share", True)
MISSED = Verdict("Outlets joined to the source", 1.0, 2.0, "outlets", False, "outlet 2")


def outcome(name: str, cost: float, worst: float, mean: float, *verdicts: Verdict) -> Outcome:
    totals = {
        "cost": cost, "outlets": 4.0, "pipe_m": 1234.567, "worst_walk_m": worst,
        "mean_walk_m": mean, "covered_share": 1.0, "daily_demand_l": 6882.0,
    }  # fmt: skip
    change = Change("design.walk_limit_m", "200", "300")
    return Outcome(name, (change,), "tank", totals, verdicts or (MET,), (), 0.0123)


def comparison() -> Comparison:
    base = outcome("as it stands", 10_000.0, 290.0, 120.0)
    return Comparison(
        "Test Hill",
        "GBP",
        (
            Outcome("as it stands", (), "tank", base.totals, (MET,), (), 0.0),
            outcome("walk limit 200 m", 15_000.5, 199.0, 90.0),
            outcome("=cmd()", 9_000.0, 380.0, 150.0, MET, MISSED),
            Outcome("broken", failure="tracks.geojson: cannot be read\nand more"),
            outcome("twin", 10_000.0, 290.0, 120.0),
        ),
        {"dewpond": "0.1.0"},
    )


def rows() -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(comparison_csv(comparison()))))


def test_table_holds_figures_and_what_they_cost_more() -> None:
    table = rows()
    assert [row["number"] for row in table] == ["1", "2", "3", "4", "5"]
    assert [row["cost"] for row in table] == ["10000.00", "15000.50", "9000.00", "", "10000.00"]
    assert [row["cost_against_first"] for row in table] == [
        "0.00", "5000.50", "-1000.00", "", "0.00",
    ]  # fmt: skip
    assert table[1]["changes"] == "design.walk_limit_m = 200 instead of 300"
    assert table[1]["gap"] == "0.0123"


def test_table_says_what_falls_short_and_what_failed() -> None:
    table = rows()
    assert [row["met"] for row in table] == ["yes", "yes", "no", "no", "yes"]
    assert table[2]["shortfalls"] == "Outlets joined to the source"
    assert table[3]["failure"] == "tracks.geojson: cannot be read; and more"
    assert table[3]["planned"] == "no"


def test_no_cell_can_pass_for_a_formula() -> None:
    assert rows()[2]["name"] == "'=cmd()"


def test_json_is_strict_and_lists_its_files() -> None:
    record = json.loads(
        comparison_json(comparison(), ["comparison.csv"]),
        parse_constant=lambda word: pytest.fail(f"{word} is not JSON"),
    )
    assert record["files"] == ["comparison.csv"]
    assert record["met"] is False
    assert record["outcomes"][3]["gap"] is None
    assert record["outcomes"][1]["cost_against_first"] == 5000.5
    assert record["outcomes"][2]["verdicts"][1]["where"] == "outlet 2"


def marks(shape: str) -> list[tuple[float, float]]:
    """Places of all marks of one shape, in the units of the axes."""
    (axes,) = comparison_chart(comparison()).axes
    return [
        (float(line.get_xdata()[0]), float(line.get_ydata()[0]))
        for line in axes.get_lines()
        if line.get_marker() == shape and line.get_markersize() > 10
    ]


def test_discs_stand_for_what_is_met_and_squares_for_what_falls_short() -> None:
    assert len(marks("o")) == 3
    assert marks("s") == [(pytest.approx(380.0), pytest.approx(9000.0))]


def test_points_stand_at_the_longest_and_the_mean_walk() -> None:
    (axes,) = comparison_chart(comparison()).axes
    places = {
        (round(float(line.get_xdata()[0])), round(float(line.get_ydata()[0])))
        for line in axes.get_lines()
        if line.get_marker() == "o" and line.get_markersize() < 10
    }
    for walk, cost in ((290, 10000), (120, 10000), (199, 15000), (90, 15000), (150, 9000)):
        assert (walk, cost) in places


def test_no_disc_covers_another() -> None:
    figure = comparison_chart(comparison())
    (axes,) = figure.axes
    pixels = axes.transData.transform(np.array([*marks("o"), *marks("s")]))
    apart = np.hypot(*(pixels[:, None] - pixels[None]).transpose(2, 0, 1))
    np.fill_diagonal(apart, math.inf)
    assert apart.min() >= 15.0 * figure.dpi / 72


def test_every_setting_is_listed_also_one_that_failed() -> None:
    texts = [text.get_text() for text in comparison_chart(comparison()).texts]
    for name in ("as it stands", "walk limit 200 m", "=cmd()", "broken", "twin"):
        assert name in texts
    assert any(text.startswith("not planned: tracks.geojson") for text in texts)
    assert any("1 requirement not met" in text for text in texts)


def test_nothing_sticks_out_and_no_two_texts_of_the_list_meet() -> None:
    figure = comparison_chart(comparison())
    figure.canvas.draw()
    renderer = figure.canvas.get_renderer()  # type: ignore[attr-defined]
    boxes = [text.get_window_extent(renderer) for text in figure.texts]
    assert all(box.x0 >= 0 and box.x1 <= figure.bbox.x1 for box in boxes)
    assert all(box.y0 >= 0 and box.y1 <= figure.bbox.y1 for box in boxes)
    clashes = [
        (one, other)
        for i, one in enumerate(boxes)
        for other in boxes[i + 1 :]
        if one.overlaps(other)
    ]
    assert clashes == []


def test_a_long_list_and_one_where_nothing_was_planned_are_drawn() -> None:
    many = tuple(outcome(f"setting {i}", 9000.0 + 100 * i, 200.0, 90.0) for i in range(30))
    assert comparison_chart(Comparison("Hill", "GBP", many)).get_figheight() > 10
    comparison_chart(Comparison("Hill", "GBP", (Outcome("a", failure="no"),)))


def test_the_two_kinds_are_told_apart_in_grey() -> None:
    """Met is a dark disc, short a white square: read from the pixels at their middles' rims."""
    figure = comparison_chart(comparison())
    figure.canvas.draw()
    grey = np.asarray(
        Image.fromarray(np.asarray(figure.canvas.buffer_rgba())).convert("L")  # type: ignore[attr-defined]
    ).astype(float)
    (axes,) = figure.axes
    shades = {}
    for shape in ("o", "s"):
        x, y = axes.transData.transform(marks(shape)[0])
        # Beside the number, inside the mark.
        shades[shape] = grey[grey.shape[0] - 1 - round(y), round(x) - 10]
    assert shades["s"] - shades["o"] > 100


def test_written_twice_the_bytes_are_the_same(tmp_path: Path) -> None:
    paths = write_comparison(comparison(), tmp_path / "one")
    write_comparison(comparison(), tmp_path / "other")
    assert [path.name for path in paths] == [
        "comparison.csv", "comparison.json", "comparison.png",
    ]  # fmt: skip
    for path in paths:
        assert path.read_bytes() == (tmp_path / "other" / path.name).read_bytes()


def test_prints_in_the_units_of_the_documents() -> None:
    """International foot 0.3048 m, by definition."""
    figure = comparison_chart(replace(comparison(), units="US customary"))
    (axes,) = figure.axes
    assert axes.get_xlabel() == "Walk to water over the ground [ft]"
    walk_m = comparison().outcomes[0].totals["worst_walk_m"]
    said = " ".join(text.get_text() for text in figure.texts)
    assert f"walk {walk_m / 0.3048:,.0f} ft" in said
    assert "GBP " in said
