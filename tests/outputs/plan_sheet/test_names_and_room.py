"""Names of every kind, and lettering that never lies over other lettering."""

from __future__ import annotations

import itertools
from datetime import date
from pathlib import Path

import pytest
from drawn import read_pages
from grid_plan import grid_plan

from dewpond.base.measures import Measures
from dewpond.outputs.drawing.plan_sheet import save_plan_sheets
from dewpond.outputs.drawing.plan_sheet.division import divide
from dewpond.outputs.drawing.plan_sheet.job import Job
from dewpond.outputs.drawing.plan_sheet.page import Page, wrapped
from dewpond.outputs.drawing.plan_sheet.paper import MM_PER_POINT
from dewpond.outputs.drawing.plan_sheet.title_block import draw_title_block
from dewpond.outputs.drawing.plan_sheet.write import draft_sheets

NAMES = (
    "Große Überschwemmungswiese",
    "Большой верхний луг",
    "المرعى الشمالي",
    "שדה הצפון",
    "<script>alert(1)</script>",
    '=HYPERLINK("http://x","y")',
    "A" * 80,
    r"$a_b$ \frac{1}{2} %n",
    "The very long name of a paddock that the land registry holds but no gate could bear",
    "\x00\x07bell\nnew line (\\) endstream >>",
)


def job_of(*size, **more) -> Job:
    plan, layers = grid_plan(*size, **more)
    settings = plan.project.documents
    return Job(plan, layers, Measures(settings.units), divide(plan, layers), date(2026, 11, 26))


def test_names_of_all_scripts_are_drawn_and_found(tmp_path: Path) -> None:
    plan, layers = grid_plan(5, 2, 150.0, name=lambda i: NAMES[i - 1], source="المنبع القديم")
    path = tmp_path / "sheets.pdf"
    save_plan_sheets(plan, layers, path)
    pages = [page.extract_text() for page in read_pages(path)]
    schedule = "\n".join(text for text in pages if "Outlet schedule" in text)
    for name in (NAMES[0], NAMES[1], NAMES[4], NAMES[5], NAMES[7]):
        assert name in schedule, name
    for name in (NAMES[2], NAMES[3]):
        # Which way round the letters are handed out is the reader's choice; all must be there.
        assert set(name) - {" "} <= set(schedule), name
    assert "bell new line (\\) endstream >>" in schedule
    assert "\x07" not in schedule


def test_words_stay_apart_from_a_name_from_right_to_left() -> None:
    """In the title of a section the words after such a name begin clear of it."""
    job = job_of(1, 1, source="المنبع القديم")
    draft = next(d for d in draft_sheets(job) if "sections" in d.title)
    page = Page(job.paper)
    draft.draw(page)
    (title,) = [t for t in page.axes.texts if t.get_text().startswith("Section 1")]
    parts = [layout_mm(part, title) for part in ("Section 1: ", "المنبع القديم", " to outlet 1")]
    assert layout_mm(title.get_text(), title) == pytest.approx(sum(parts), rel=0.01)


def layout_mm(text: str, like) -> float:
    """Width of a text in the lettering of another."""
    from matplotlib.textpath import text_to_path

    font = like.get_fontproperties()
    return text_to_path.get_text_width_height_descent(text, font, ismath=False)[0] * MM_PER_POINT


LONG = {
    "prepared_for": "The trustees of the very old and far too long-named estate of " * 3,
    "prepared_by": "Łukasz Żółć " * 12,
    "reference": "R" * 90,
    "revision": "the fourteenth revision",
}


@pytest.mark.parametrize("paper", ["A4", "A3", "A1"])
@pytest.mark.parametrize("documents", [{}, LONG], ids=["plain", "long"])
def test_nothing_in_the_title_block_overlaps_or_leaves_it(paper: str, documents) -> None:
    job = job_of(3, 2, paper=paper, **documents)
    drafts = draft_sheets(job)
    for number, draft in enumerate(drafts, start=1):
        page = Page(job.paper)
        draw_title_block(page, job, draft, number, len(drafts))
        boxes = text_boxes(page)
        assert len(boxes) > 15
        assert overlaps(boxes) == []
        left, foot, right, top = job.paper.block_mm
        for text, (x0, y0, x1, y1) in boxes:
            assert left <= x0, text
            assert x1 <= right, text
            assert foot <= y0, text
            assert y1 <= top, text
        assert crossed_lines(page, boxes) == []


@pytest.mark.parametrize("paper", ["A4", "A1"])
def test_nothing_on_a_whole_sheet_overlaps(paper: str) -> None:
    """Maps, tables and sections, names on the map among them."""
    job = job_of(5, 3, 200.0, paper=paper, name=lambda i: NAMES[i % 6], scale=10_000)
    drafts = draft_sheets(job)
    for number, draft in enumerate(drafts, start=1):
        page = Page(job.paper)
        draft.draw(page)
        draw_title_block(page, job, draft, number, len(drafts))
        boxes = text_boxes(page)
        assert overlaps(boxes) == [], draft.title
        for text, (x0, y0, x1, y1) in boxes:
            assert x0 >= 5, text
            assert x1 <= job.paper.width_mm - 5, text
            assert y0 >= 5, text
            assert y1 <= job.paper.height_mm - 5, text


def test_a_holding_that_no_pipe_reaches_has_its_sheets(tmp_path: Path) -> None:
    """Nothing joined to the source, and no heights under the map."""
    from dataclasses import replace

    from hand_plan import with_scheme

    plan, layers = grid_plan(2, 1, 5000.0)
    network = plan.network
    bare = replace(network, pipes=network.pipes.iloc[:0], nodes=network.nodes.iloc[:1])
    outlets = layers["outlet"].assign(static_head_m=float("nan"), served=False)
    path = tmp_path / "sheets.pdf"
    save_plan_sheets(
        with_scheme(plan, network=bare),
        {**layers, "pipe": layers["pipe"].iloc[:0], "outlet": outlets},
        path,
    )
    pages = [page.extract_text() for page in read_pages(path)]
    assert "Outlet that no pipe can reach" in pages[0]
    assert not any("long sections" in text for text in pages)
    assert "outlet 2" in " ".join(pages[1:])


def text_boxes(page: Page) -> list[tuple[str, tuple[float, float, float, float]]]:
    """Every piece of lettering with its box on the page [mm], halos and pins aside."""
    page.figure.canvas.draw()
    per_dot = 25.4 / page.figure.dpi
    found = []
    for axes in page.figure.axes:
        texts = [t for t in axes.texts if not t.get_path_effects()]
        legend = axes.get_legend()
        texts += legend.get_texts() if legend else []
        for text in texts:
            if text.get_text().strip():
                box = text.get_window_extent()
                found.append(
                    (text.get_text(), tuple(side * per_dot for side in box.extents.tolist()))
                )
    return found


def overlaps(boxes, slack_mm: float = 0.25) -> list[tuple[str, str]]:
    """Pairs whose boxes share more than the bare room round letters."""
    return [
        (a, b)
        for (a, (ax0, ay0, ax1, ay1)), (b, (bx0, by0, bx1, by1)) in itertools.combinations(
            boxes, 2
        )
        if min(ax1, bx1) - max(ax0, bx0) > slack_mm and min(ay1, by1) - max(ay0, by0) > slack_mm
    ]


def crossed_lines(page: Page, boxes) -> list[str]:
    """Lettering that a rule of the block runs through."""
    rules = [line for c in page.axes.collections for line in c.get_segments()]
    return [
        text
        for text, (x0, y0, x1, y1) in boxes
        for (ax, ay), (bx, by) in rules
        if max(min(ax, bx), x0 + 0.3) < min(max(ax, bx), x1 - 0.3)
        and y0 + 0.3 < ay < y1 - 0.3
        and ay == by
    ]


def test_words_wider_than_their_room_are_broken() -> None:
    from dewpond.outputs.drawing import lettering as letter

    lines = wrapped("W" * 60 + " and more", 6.0, 30.0)
    assert len(lines) > 2
    assert "".join(lines).replace(" ", "") == "W" * 60 + "andmore"
    for line in lines:
        assert letter.text_size_pt(line, 6.0)[0] * MM_PER_POINT <= 30.0
    assert wrapped("", 6.0, 30.0) == []
