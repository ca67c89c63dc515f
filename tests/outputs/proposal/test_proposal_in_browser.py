"""The proposal in a real browser: no error, no request, layers, keyboard, paper, accessibility.

Needs Chromium on the machine; the driver comes with the test dependencies and fetches nothing.
"""

from __future__ import annotations

import io
import re
import shutil
import unicodedata
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from proposal_plans import FOREIGN, HARMFUL, broken_layers, dated, many_layers, named, page

from dewpond import load_project, plan_holding
from dewpond.base.model import Plan
from dewpond.outputs.layers import plan_layers
from dewpond.outputs.proposal import proposal_html

sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")

CHROMIUM = next(
    filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None
)
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="there is no Chromium on this machine")

DESKTOP, PHONE = (1280, 900), (360, 740)


class Opened:
    """A page in the browser with everything it complained of or asked for."""

    def __init__(self, page: Any, file: Path) -> None:
        self.page = page
        self.complaints: list[str] = []
        self.requests: list[str] = []
        page.on("console", lambda message: self.complaints.append(message.text))
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.on("dialog", lambda dialog: (self.complaints.append(dialog.message),
                                          dialog.dismiss()))  # fmt: skip
        page.on("request", lambda request: self.requests.append(request.url))
        page.goto(file.as_uri())
        page.wait_for_timeout(150)  # names are laid out once the map rests

    def fetched(self) -> list[str]:
        """Everything asked for but the page itself and pictures inside it."""
        return [url for url in self.requests[1:] if not url.startswith("data:")]

    def card(self) -> str:
        return str(self.page.inner_text("#card-body"))

    def card_title(self) -> str:
        heading = self.page.locator("#card-body h3")
        return str(heading.inner_text()) if heading.count() else ""


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with sync_api.sync_playwright() as driver:
        # No sandbox: tests often run as root in a container, where Chromium has none.
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield browser
        browser.close()


@pytest.fixture
def show(browser: Any, tmp_path: Path) -> Iterator[Any]:
    contexts = []

    def open_page(html: str, size: tuple[int, int] = DESKTOP, touch: bool = False) -> Opened:
        file = tmp_path / "proposal.html"
        file.write_text(html, encoding="utf-8")
        context = browser.new_context(
            viewport={"width": size[0], "height": size[1]}, has_touch=touch, offline=True,
            reduced_motion="reduce",
        )  # fmt: skip
        contexts.append(context)
        return Opened(context.new_page(), file)

    yield open_page
    for context in contexts:
        context.close()


@pytest.fixture(scope="module")
def html(plan: Plan) -> str:
    return page(dated(plan))


def test_no_complaint_and_no_request(show: Any, html: str) -> None:
    opened = show(html)
    assert opened.complaints == []
    assert opened.fetched() == []
    assert opened.page.title() == "Test Hill: drinking water for grazed ground"


@pytest.mark.parametrize("names", [HARMFUL, FOREIGN], ids=["harmful", "foreign"])
def test_names_run_nothing_and_read_as_they_are(show: Any, names: tuple[str, ...]) -> None:
    opened = show(page(named(names, prepared_for=names[0])))
    for number, name in enumerate(names):
        opened.page.evaluate(f"document.getElementById('paddock-{number}').focus()")
        assert " ".join(opened.card_title().split()) == " ".join(name.split())
    assert opened.complaints == []
    assert opened.fetched() == []


def test_the_policy_stops_a_foreign_script(show: Any, html: str) -> None:
    """What would run if a name ever slipped through: nothing."""
    worse = html.replace("</main>", "<script>document.title = 'taken'</script></main>")
    opened = show(worse)
    assert opened.page.title() != "taken"
    assert "Content Security Policy" in " ".join(opened.complaints)


def test_layers_switch(show: Any, html: str) -> None:
    opened = show(html)
    switches = opened.page.locator("[data-switch]")
    names = [switches.nth(i).get_attribute("data-switch") for i in range(switches.count())]
    assert {"outlets", "pipes", "walks", "paddocks", "names", "relief", "fittings"} <= set(names)
    for name in names:
        box = opened.page.locator(f"[data-switch={name}]")
        layer = opened.page.locator(f"#chart [data-layer={name}]")

        def drawn(layer: Any = layer) -> str:
            return str(layer.evaluate("node => getComputedStyle(node).display"))

        assert drawn() != "none", name
        box.uncheck()
        assert drawn() == "none", name
        box.check()
        assert drawn() != "none", name


def test_breaks_are_shown_when_asked(show: Any, plan: Plan) -> None:
    opened = show(proposal_html(dated(plan), broken_layers(plan)))
    layer = opened.page.locator("#chart [data-layer=breaks]")
    assert not layer.is_visible()
    opened.page.check("[data-switch=breaks]")
    assert layer.is_visible()


def test_keyboard_reaches_every_outlet_pipe_and_paddock(show: Any, html: str, plan: Plan) -> None:
    """From the top of the page with Tab and arrow keys alone."""
    opened = show(html)
    keys = opened.page.keyboard
    found: dict[str, list[str]] = {}
    for _ in range(60):
        keys.press("Tab")
        at = opened.page.evaluate("document.activeElement.id || ''")
        kind = at.split("-")[0]
        if kind not in ("outlet", "pipe", "paddock") or kind in found:
            continue
        found[kind] = [opened.card_title()]
        while True:
            keys.press("ArrowRight")
            title = opened.card_title()
            if title == found[kind][0]:
                break
            found[kind].append(title)
    layers = plan_layers(plan)
    assert found == {kind: list(layers[kind]["name"]) for kind in ("paddock", "pipe", "outlet")}


def test_escape_closes_and_enter_opens_again(show: Any, html: str) -> None:
    opened = show(html)
    opened.page.evaluate("document.getElementById('outlet-2').focus()")
    assert "outlet 3" in opened.card()
    assert "L/min comes" in opened.card()
    opened.page.keyboard.press("Escape")
    assert opened.card() == ""
    opened.page.keyboard.press("Enter")
    assert "outlet 3" in opened.card()
    opened.page.click("#card-close")
    assert opened.card() == ""


def test_focus_can_be_seen(show: Any, html: str) -> None:
    """The chosen outlet looks otherwise than before: a ring of a dark colour round it."""
    opened = show(html)
    ring = opened.page.locator("#outlet-1 .ring")
    before = ring.evaluate("node => getComputedStyle(node).fill")
    opened.page.keyboard.press("Tab")  # so that the browser shows focus at all
    opened.page.evaluate("document.getElementById('outlet-1').focus()")
    assert ring.evaluate("node => getComputedStyle(node).fill") != before


def test_click_opens_the_card_and_links_lead_to_the_map(show: Any, html: str) -> None:
    opened = show(html)
    opened.page.locator("#outlet-0 .disc").click()
    assert opened.card_title() == "outlet 1"
    opened.page.locator("a[data-show=pipe-2]").click()
    assert opened.card_title() == "pipe 3"
    assert opened.page.evaluate("document.activeElement.id") == "pipe-2"


def bar_m(opened: Opened) -> float:
    """Metres that the scale bar says, over its length on the screen times the map's metres."""
    return float(
        opened.page.evaluate(
            """() => {
                const line = document.getElementById('bar-line').getBoundingClientRect().width;
                const box = document.getElementById('outlet-0').getCTM();
                const other = document.getElementById('outlet-1').getCTM();
                const at = (id) => document.getElementById(id).getAttribute('transform')
                    .match(/-?[\\d.]+/g).map(Number);
                const [a, b] = [at('outlet-0'), at('outlet-1')];
                const metres = Math.hypot(a[0] - b[0], a[1] - b[1]);
                const pixels = Math.hypot(box.e - other.e, box.f - other.f);
                return line / pixels * metres;
            }"""
        )
    )


def test_scale_bar_is_true_at_every_zoom(show: Any, html: str) -> None:
    """The bar against the distance of two outlets on the screen."""
    opened = show(html)
    said = []
    for _ in range(6):
        text = opened.page.inner_text("#bar-text")
        metres = float(re.match(r"[\d.]+", text)[0])  # type: ignore[index]
        assert bar_m(opened) == pytest.approx(metres, rel=0.005)
        said.append(metres)
        opened.page.click("#zoom-in")
    assert said[0] > said[-1]


def view(opened: Opened) -> tuple[float, float, float]:
    """Zoom and shift of the map."""
    style = opened.page.evaluate("document.getElementById('world').style.transform")
    x, y, k = map(float, re.findall(r"-?[\d.]+(?:e-?\d+)?", style))
    return k, x, y


def test_zoom_and_pan_by_buttons_keys_wheel_and_drag(show: Any, html: str) -> None:
    opened = show(html)
    page = opened.page
    assert view(opened)[0] == 1
    page.click("#zoom-in")
    assert view(opened)[0] == pytest.approx(1.5)
    page.focus("#chart")
    page.keyboard.press("+")
    k, x, _ = view(opened)
    assert k == pytest.approx(2.25)
    page.keyboard.press("ArrowRight")
    assert view(opened)[1] < x
    page.locator("#chart").scroll_into_view_if_needed()
    box = page.locator("#chart").bounding_box()
    middle = (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.move(*middle)
    page.mouse.wheel(0, -200)
    page.wait_for_timeout(50)
    assert view(opened)[0] > k
    before = view(opened)
    page.mouse.down()
    page.mouse.move(middle[0] + 60, middle[1] + 30, steps=4)
    page.mouse.up()
    after = view(opened)
    assert (after[1] > before[1], after[2] > before[2]) == (True, True)
    page.focus("#chart")
    page.keyboard.press("0")
    assert view(opened) == (1, 0, 0)


def test_the_wheel_is_left_to_the_page_until_the_map_is_chosen(show: Any, html: str) -> None:
    opened = show(html)
    opened.page.locator("#chart").scroll_into_view_if_needed()
    opened.page.locator("#chart").hover()
    opened.page.mouse.wheel(0, -200)
    opened.page.wait_for_timeout(50)
    assert view(opened)[0] == 1


def test_two_fingers_zoom(show: Any, html: str) -> None:
    opened = show(html, PHONE, touch=True)
    page = opened.page
    page.locator("#chart").scroll_into_view_if_needed()
    box = page.locator("#chart").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    touch = page.context.new_cdp_session(page)

    def at(apart: float) -> list[dict[str, float]]:
        return [{"x": x - apart, "y": y, "id": 0}, {"x": x + apart, "y": y, "id": 1}]

    send = "Input.dispatchTouchEvent"
    touch.send(send, {"type": "touchStart", "touchPoints": at(30)})
    for apart in (40, 50, 60):
        touch.send(send, {"type": "touchMove", "touchPoints": at(apart)})
    touch.send(send, {"type": "touchEnd", "touchPoints": []})
    assert view(opened)[0] == pytest.approx(2.0, rel=0.15)


def overlaps(opened: Opened) -> list[tuple[str, str]]:
    """Pairs of names on the map that touch each other."""
    boxes = opened.page.evaluate(
        """() => [...document.querySelectorAll('#names text')]
            .filter((text) => text.style.display !== 'none')
            .map((text) => { const b = text.getBoundingClientRect();
                return [text.textContent, b.left, b.top, b.right, b.bottom]; })"""
    )
    assert boxes
    return [
        (a[0], b[0])
        for i, a in enumerate(boxes)
        for b in boxes[:i]
        if a[1] + 1 < b[3] and b[1] + 1 < a[3] and a[2] + 1 < b[4] and b[2] + 1 < a[4]
    ]


def test_names_never_lie_on_each_other_at_any_zoom(show: Any, plan: Plan) -> None:
    opened = show(proposal_html(dated(plan), many_layers(plan, 60)))
    counts = []
    for _ in range(5):
        opened.page.wait_for_timeout(150)
        assert overlaps(opened) == []
        counts.append(
            opened.page.evaluate(
                "[...document.querySelectorAll('#names .paddock')]"
                ".filter((text) => text.style.display !== 'none').length"
            )
        )
        opened.page.click("#zoom-in")
    assert counts[0] > 20


@pytest.mark.parametrize("names", [("a", "b", "c", "d"), FOREIGN, ("x" * 300, "b", "c", "d")])
def test_a_phone_never_scrolls_sideways(show: Any, names: tuple[str, ...]) -> None:
    opened = show(page(named(names, prepared_by="y" * 120)), PHONE, touch=True)
    assert opened.page.evaluate("document.documentElement.scrollWidth") <= PHONE[0]
    opened.page.evaluate("document.getElementById('paddock-0').focus()")
    assert opened.page.evaluate("document.documentElement.scrollWidth") <= PHONE[0]
    assert opened.complaints == []


def printed(opened: Opened) -> Any:
    pypdf = pytest.importorskip("pypdf", reason="pypdf is not installed")
    return pypdf.PdfReader(io.BytesIO(opened.page.pdf(prefer_css_page_size=True)))


def plain(sheet: Any) -> str:
    """Text of a printed page, ligatures taken apart."""
    return unicodedata.normalize("NFKC", sheet.extract_text())


def test_paper_is_a4_numbered_and_without_controls(show: Any, html: str) -> None:
    opened = show(html)
    opened.page.click("#zoom-in")  # the zoom on the screen must not reach the paper
    opened.page.click("#zoom-in")
    reader = printed(opened)
    count = len(reader.pages)
    assert count == 8
    for number, sheet in enumerate(reader.pages, start=1):
        width, height = (float(side) / 72 * 25.4 for side in sheet.mediabox[2:])
        assert (width, height) == pytest.approx((210, 297), abs=0.5)  # ISO 216
        text = plain(sheet)
        assert f"{number} of {count}" in text
        assert "planning aid, not a design certificate" in text
    whole = " ".join(map(plain, reader.pages))
    for control in ("Zoom", "Close", "tick what the map shows", "Choose an outlet"):
        assert control not in whole
    for kept in ("Top Field", "Beck Meadow", "outlet 4", "To check on site", "Cautions"):
        assert kept in whole


def test_table_heads_stand_on_every_page(show: Any, plan: Plan) -> None:
    reader = printed(show(proposal_html(dated(plan), many_layers(plan, 60))))
    texts = list(map(plain, reader.pages))
    pages = [text for text in texts if len(re.findall(r"^outlet \d+ Field", text, re.M)) > 5]
    assert len(pages) > 1
    assert all("Flow needed" in " ".join(text.split()) for text in pages)


def faults(opened: Opened) -> list[str]:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="no axe-core")
    found = axe.Axe().run(opened.page).response["violations"]
    return [
        f"{fault['id']}: {node['html'][:120]}"
        for fault in found
        if fault["impact"] in ("serious", "critical")
        for node in fault["nodes"]
    ]


@pytest.mark.parametrize("size", [DESKTOP, PHONE], ids=["desktop", "phone"])
def test_axe_finds_no_serious_fault(show: Any, html: str, size: tuple[int, int]) -> None:
    opened = show(html, size)
    opened.page.evaluate("document.getElementById('outlet-0').focus()")
    assert faults(opened) == []


@pytest.mark.slow
def test_the_sample_whole(show: Any, sample_project: Path) -> None:
    """The invented holding, planned and printed: small, silent, accessible, ten pages or so."""
    project = load_project(sample_project)
    planned = dated(plan_holding(project))
    html = page(planned)
    size = len(html.encode())
    assert size < 1_500_000
    assert html == page(planned)
    opened = show(html)
    assert (opened.complaints, opened.fetched(), faults(opened)) == ([], [], [])
    assert overlaps(opened) == []
    pages = len(printed(opened).pages)
    print(f"sample: {size:,} bytes, {pages} pages")
    assert 7 <= pages <= 11


def test_two_hundred_outlets_in_the_browser(show: Any, plan: Plan) -> None:
    opened = show(proposal_html(dated(plan), many_layers(plan, 200)))
    assert opened.complaints == []
    opened.page.evaluate("document.getElementById('outlet-199').focus()")
    assert opened.card_title() == "outlet 200"
    assert overlaps(opened) == []
