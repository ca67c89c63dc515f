"""What stands on the sheets: words, tables, legend, key, pictures, fonts."""

from __future__ import annotations

import itertools
import re
from pathlib import Path

import pytest
from drawn import fonts_of, images_of, read_pages, texts_of
from grid_plan import grid_plan, with_documents

from dewpond.base.model import Plan
from dewpond.outputs.drawing.plan_sheet import save_plan_sheets
from dewpond.outputs.layers import plan_layers


def flat(text: str) -> str:
    return re.sub(r"\s+", " ", text)


def test_title_block_says_all_on_every_sheet(hand_texts: list[str]) -> None:
    for number, text in enumerate(hand_texts, start=1):
        for wanted in (
            "Test Hill", "The Harrowmere Estate", "A. Adviser", "HM-12", "B · 26 November 2026",
            f"Sheet {number} of {len(hand_texts)}", "OSGB36 / British National Grid (EPSG:27700)",
            "Data: Heights: invented for this test", "Newlyn",
        ):  # fmt: skip
            assert wanted in flat(text), (number, wanted)


def test_map_says_cautions_and_what_is_not_met(hand_texts: list[str]) -> None:
    text = flat(hand_texts[0])
    assert "A planning aid, not a design certificate" in text
    assert "licensed practice" in text
    assert "1 of 2 requirements is not met" in text
    assert "Requirements that are not met" in flat(" ".join(hand_texts[1:]))


def test_legend_names_what_is_drawn_and_no_more(hand_texts, divided_texts) -> None:
    hand = flat(hand_texts[0])
    for wanted in ("Watercourse", "Lane or track", "Gateway", "Break tank",
                   "Pipe in the ground already", "Ground out of reach of water"):  # fmt: skip
        assert wanted in hand
    assert "Match line" not in hand
    bare = flat(divided_texts[0])
    for absent in ("Watercourse", "Lane or track", "Gateway", "Break tank", "out of reach"):
        assert absent not in bare
    assert "Match line, with the sheet beyond" in bare


def test_source_stands_in_the_legend_only_of_the_sheet_that_shows_it(divided_texts) -> None:
    shown = ["Source" in text.split("\n") for text in divided_texts if "plan, part" in text]
    assert 0 < sum(shown) < len(shown)


@pytest.mark.parametrize(
    ("columns", "least_pages"), [(6, 2), pytest.param(20, 5, marks=pytest.mark.slow)]
)
def test_schedules_hold_every_outlet_and_pipe_and_flow_over(
    columns: int, least_pages: int, tmp_path: Path
) -> None:
    """Sixty outlets, and two hundred, on A4."""
    plan, layers = grid_plan(columns, 10, paper="A4", scale=25_000)
    path = tmp_path / "sheets.pdf"
    save_plan_sheets(plan, layers, path)
    tables = [flat(t) for t in texts_of(read_pages(path)) if "Drinking water: schedules" in t]
    assert len(tables) >= least_pages
    assert sum("Outlet schedule, continued" in text for text in tables) >= least_pages // 2
    every = " ".join(tables)
    outlets, pipes = layers["outlet"], layers["pipe"]
    for name, point in zip(outlets["name"], outlets.geometry, strict=True):
        assert every.count(f" {name} {point.x:.1f} {point.y:.1f} ") == 1, name
    for name, start, end, length in zip(
        pipes["name"], pipes["from"], pipes["to"], pipes["length_m"], strict=True
    ):
        assert every.count(f" {name} {start} {end} {length:.0f} 40 mm ") == 1, name
    # Wherever a table goes on its headings stand again.
    for text in tables:
        assert text.startswith(("Outlet schedule", "Pipe schedule", "Fittings", "Requirements"))
        assert "Easting (m)" in text or "Outside diameter" in text or "What would mend" in text


def test_match_lines_name_the_sheet_beyond_and_the_key_numbers_all(divided_texts) -> None:
    maps = {
        int(re.search(r"Sheet (\d+) of", text).group(1)): text
        for text in divided_texts
        if "plan, part" in text
    }
    beyond = {
        number: {int(n) for n in re.findall(r"continues on sheet (\d+)", text)}
        for number, text in maps.items()
    }
    for number, others in beyond.items():
        assert others, number
        for other in others:
            assert number in beyond[other]  # a match line has two sides
    for text in maps.values():
        key = text.split("Key to the sheets")[1].split("Legend")[0].split()
        assert {str(number) for number in maps} <= set(key)


def test_neighbouring_maps_overlap_and_their_own_parts_do_not() -> None:
    import shapely

    from dewpond.outputs.drawing.plan_sheet.division import divide

    division = divide(*grid_plan(4, 4, paper="A4", scale=2500))
    by_number = {tile.number: tile for tile in division.tiles}
    overlap_m = 0.02 * division.scale
    for tile in division.tiles:
        for side, number in tile.neighbours.items():
            both = shapely.box(*tile.extent_m).intersection(
                shapely.box(*by_number[number].extent_m)
            )
            west, south, east, north = both.bounds
            across = east - west if side in ("west", "east") else north - south
            assert across == pytest.approx(overlap_m)
    own = [shapely.box(*tile.own_m) for tile in division.tiles]
    assert shapely.union_all(own).area == pytest.approx(sum(part.area for part in own))
    holding = shapely.box(400_000, 480_000, 400_800, 480_800)
    assert shapely.union_all(own).covers(holding)


def test_hillshade_is_the_only_picture(hand_sheets: Path, divided_pages, divided_texts) -> None:
    pages = read_pages(hand_sheets)
    counts = [len(images_of(page)) for page in pages]
    assert counts == [1] + [0] * (len(pages) - 1)
    image = images_of(pages[0])[0]
    assert int(image["/Width"]) > 300
    for page, text in zip(divided_pages, divided_texts, strict=True):
        assert len(images_of(page)) <= ("plan, part" in text)


def test_fonts_are_embedded_and_their_text_can_be_copied(hand_sheets: Path) -> None:
    for page in read_pages(hand_sheets):
        fonts = fonts_of(page)
        assert fonts
        for name, font in fonts.items():
            assert font == {"kind": "/CIDFontType2", "embedded": True, "to_unicode": True}, name


def test_names_on_the_map_are_letters_not_curves(hand_texts: list[str]) -> None:
    text = hand_texts[0]
    for name in ("Top Field", "Beck Meadow", "Ghyll", "road main"):
        assert name in text


def test_same_plan_gives_same_bytes(plan: Plan, hand_sheets: Path, tmp_path: Path) -> None:
    again = tmp_path / "again.pdf"
    plan = with_documents(
        plan, prepared_for="The Harrowmere Estate", prepared_by="A. Adviser", reference="HM-12",
        revision="B",
    )  # fmt: skip
    save_plan_sheets(plan, plan_layers(plan), again)
    assert again.read_bytes() == hand_sheets.read_bytes()


def test_settings_of_the_drawing_library_are_left_alone(hand_sheets: Path) -> None:
    import matplotlib

    assert matplotlib.rcParams["pdf.fonttype"] == matplotlib.rcParamsDefault["pdf.fonttype"]


def test_every_pipe_stands_in_one_section_and_each_section_runs_on() -> None:
    from dewpond.outputs.drawing.plan_sheet.branch_lines import branch_lines

    plan, _ = grid_plan(4, 3)
    lines = branch_lines(plan.network, 100)
    assert sorted(pipe for line in lines for pipe in line) == sorted(plan.network.pipes.index)
    pipes = plan.network.pipes
    for line in lines:
        for before, after in itertools.pairwise(line):
            assert pipes.at[before, "to_node"] == pipes.at[after, "from_node"]
    # The spine of three junctions and the far row is the longest way: 25 + 2 x 200 m up first.
    assert lines[0][-1] == pipes.index[-1]
    assert max(len(line) for line in branch_lines(plan.network, 2)) == 2
