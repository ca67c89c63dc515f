"""The proposal as text: what it says, that it is sound, and that names in it do no harm."""

from __future__ import annotations

import dataclasses
import re
import xml.etree.ElementTree as ET
from html.parser import HTMLParser
from typing import Any

import pandas as pd
import pytest
import shapely
from hand_plan import CRS, make_plan, with_scheme
from hand_water import no_water, nothing_fits
from proposal_plans import (
    FOREIGN,
    HARMFUL,
    a_comparison,
    broken_layers,
    dated,
    many_layers,
    named,
    page,
)

import farms
from dewpond.base.model import Plan
from dewpond.base.settings import WhatIfSettings
from dewpond.base.surface import transformer
from dewpond.outputs.layers import plan_layers
from dewpond.outputs.proposal import proposal_html
from dewpond.outputs.proposal.environment import chance, css_text, environment, listed
from dewpond.outputs.proposal.facts.checks import site_checks
from dewpond.outputs.proposal.sitemap import draw_site_map

# Elements without an end tag: HTML Living Standard, section 13.1.2 (from memory).
VOID = {"meta", "br", "img", "input", "link", "hr"}


class Reader(HTMLParser):
    """Reads a page as a browser would: tags in balance, texts, ids, addresses, handlers."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.texts: list[str] = []
        self.faults: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        if not self.open or self.open.pop() != tag:
            self.faults.append(f"</{tag}> at {self.getpos()}")

    def handle_data(self, data: str) -> None:
        if not {"script", "style"} & set(self.open):
            self.texts.append(data)


def read(html: str) -> Reader:
    reader = Reader()
    reader.feed(html)
    reader.close()
    return reader


def words(html: str) -> str:
    return " ".join(" ".join(read(html).texts).split())


@pytest.fixture(scope="module")
def html(plan: Plan) -> str:
    return page(dated(plan, prepared_for="The Trustees", reference="TH-7"))


class TestSoundness:
    def test_tags_balance_and_ids_stand_once(self, html: str) -> None:
        reader = read(html)
        assert reader.faults == []
        assert reader.open == []
        ids = [attributes["id"] for _, attributes in reader.tags if "id" in attributes]
        assert len(ids) == len(set(ids))

    def test_every_link_leads_to_a_place_on_the_page(self, html: str) -> None:
        tags = read(html).tags
        ids = {attributes.get("id") for _, attributes in tags}
        links = [a["href"] for tag, a in tags if tag in ("a", "use") and a.get("href")]
        assert links
        assert {link for link in links if str(link)[1:] not in ids} == set()
        shown = {a["data-show"] for _, a in tags if "data-show" in a}
        assert shown <= ids

    def test_nothing_is_fetched_and_no_handler_stands_in_an_attribute(self, html: str) -> None:
        for tag, attributes in read(html).tags:
            assert tag not in {"link", "iframe", "object", "embed", "base", "form"}
            for name, value in attributes.items():
                assert not name.startswith("on"), (tag, name)
                if name in ("src", "href", "action", "data") and value:
                    assert value.startswith(("#", "data:image/png;base64,")), (tag, value)
        assert not re.search(r"url\((?!#)|@import|https?://(?!www\.w3\.org/2000/svg)", html)

    def test_the_policy_lets_this_script_run_and_no_other(self, html: str) -> None:
        """W3C Content Security Policy Level 3: a hash of the text between the tags."""
        import base64
        import hashlib

        script = re.findall(r"<script>(.*?)</script>", html, re.DOTALL)
        assert len(script) == 1
        digest = base64.b64encode(hashlib.sha256(script[0].encode()).digest()).decode()
        assert f"script-src 'sha256-{digest}'" in html.replace("&#39;", "'")
        assert "default-src 'none'" in html

    def test_the_map_is_well_formed_xml(self, html: str) -> None:
        start = html.index('<svg id="chart"')
        ET.fromstring(html[start : html.index("</svg>", start) + 6])

    def test_the_same_plan_gives_the_same_bytes(self, plan: Plan) -> None:
        assert page(dated(plan)) == page(dated(make_plan()))

    def test_the_day_stands_on_it_where_no_date_is_set(self, plan: Plan) -> None:
        assert re.search(r'<time datetime="\d{4}-\d\d-\d\d">', page(plan))

    def test_a_name_missing_in_a_template_is_a_fault(self) -> None:
        from jinja2 import UndefinedError

        with pytest.raises(UndefinedError):
            environment().get_template("answers.html").render()


class TestContent:
    def test_need_by_mob(self, html: str) -> None:
        """DESIGN.md: 80 head of 350 kg dry, mobile: 3,360 L a day, 8.0 L/min."""
        told = words(html)
        assert "80 cattle of 350 kg" in told
        assert "120 sheep of 70 kg, in milk" in told
        assert "3,360" in told
        assert "4,620 L" in told

    def test_need_through_the_year(self, plan: Plan) -> None:
        calendar = pd.DataFrame(
            {
                "month": [6, 6, 7, 7], "mob": ["stores", "ewes"] * 2, "head": [80, 0, 60, 120],
                "daily_demand_l": [3360.0, 0.0, 2520.0, 1260.0],
            }
        )  # fmt: skip
        mobs = plan.demand.mobs.assign(peak_month=[6, 7])
        demand = dataclasses.replace(plan.demand, mobs=mobs, calendar=calendar, peak_month=7)
        told = words(page(dated(dataclasses.replace(plan, demand=demand))))
        assert "3,780 L a day in July, the month in which most is needed" in told
        assert "June 80 stores 3,360 July, the peak 60 stores , 120 ewes 3,780" in told

    def test_every_outlet_pipe_and_paddock_has_its_place_on_the_map_and_a_card(
        self, html: str, plan: Plan
    ) -> None:
        ids = {attributes.get("id") for _, attributes in read(html).tags}
        for kind in ("outlet", "pipe", "paddock"):
            for number in range(len(plan_layers(plan)[kind])):
                assert {f"{kind}-{number}", f"card-{kind}-{number}"} <= ids

    def test_every_requirement_with_its_verdict_and_remedy(self, html: str, plan: Plan) -> None:
        told = words(html)
        for verdict in plan.verdicts:
            assert verdict.requirement in told
        assert told.count("not met") >= 1
        assert "Remedy: Add." in told

    def test_sources_are_compared_with_what_would_help(self, html: str) -> None:
        told = words(html)
        assert "hill tank: flow at the source" in told
        assert "Fixed troughs with a buffer of 600 L" in told

    def test_places_to_check_carry_grid_and_longitude(self, html: str, plan: Plan) -> None:
        rows = site_checks(plan, plan_layers(plan))
        kinds = {row["kind"] for row in rows}
        assert {"source", "crossing", "existing pipe", "break_tank", "dry outlet"} <= kinds
        told = words(html)
        for row in rows:
            assert f"{row['easting_m']:.0f} {row['northing_m']:.0f}" in told
            assert f"{row['longitude']:.5f} {row['latitude']:.5f}" in told

    def test_a_crossing_is_where_the_lines_cross(self, plan: Plan) -> None:
        rows = site_checks(plan, plan_layers(plan))
        track = next(row for row in rows if row["of"] == "track")
        lane = plan.holding.features.tracks.geometry.iloc[0]
        pipe = plan.network.pipes.geometry["pipe 1"]
        at = shapely.Point(track["easting_m"], track["northing_m"])
        assert max(at.distance(lane), at.distance(pipe)) < 1e-6

    def test_longitude_and_latitude_against_the_published_grid(self) -> None:
        """Ordnance Survey, A guide to coordinate systems in Great Britain, worked example C.2.

        From memory: E 651409.903, N 313177.270 is 52 deg 39' 27.2531" N, 1 deg 43' 4.5177" E on
        OSGB36; WGS 84 lies some 100 m away there, so to a thousandth of a degree only.
        """
        to_wgs84 = transformer(CRS, type(CRS).from_user_input("EPSG:4326"))
        longitude, latitude = to_wgs84.transform(651409.903, 313177.270)
        assert latitude == pytest.approx(52 + 39 / 60 + 27.2531 / 3600, abs=2e-3)
        assert longitude == pytest.approx(1 + 43 / 60 + 4.5177 / 3600, abs=2e-3)

    def test_parcels_are_carried(self, plan: Plan) -> None:
        shapes = plan.holding.paddocks.assign(parcel=["SD 1", "SD 2", '"><b>', "SD 4"])
        holding = dataclasses.replace(plan.holding, paddocks=shapes)
        html = page(dated(dataclasses.replace(plan, holding=holding)))
        told = words(html)
        assert "Paddock Parcel Area, ha" in told
        assert told.count("SD 2") > 2  # the paddock, its card, outlets and pipe on it
        assert '"><b>' in told
        assert "<b>" not in html
        assert "Parcel" not in words(page(dated(plan)))

    def test_levels_to_take_stand_on_the_map_in_order(self, plan: Plan) -> None:
        assert plan.confidence is not None
        site_map = draw_site_map(plan, plan_layers(plan))
        survey = plan.confidence.survey
        assert [level["name"] for level in site_map.levels] == list(survey["name"])
        bare = dataclasses.replace(plan, confidence=None)
        assert draw_site_map(bare, plan_layers(bare)).levels == []

    def test_cautions_are_printed(self, html: str) -> None:
        told = words(html)
        for caution in (
            "planning aid, not a design certificate", "Check flow, level and ground on site",
            "Local codes", "water undertaker", "buried services", "Protected sites",
            "Electrical work", "confined spaces", "consent",
            "An air gap above the spill level is asked for on a main.",
        ):  # fmt: skip
            assert caution in told

    def test_title_block(self, html: str) -> None:
        told = words(html)
        assert "Prepared for The Trustees" in told
        assert "Reference TH-7" in told
        assert "Prepared by" not in told

    def test_us_customary_units(self, plan: Plan) -> None:
        told = words(page(dated(plan, units="US customary")))
        # 4,620 L over 3.785411784 L a US gallon; 80 head of 350 kg over 0.45359237 kg a pound.
        assert "1,220 US gal" in told
        assert "80 cattle of 772 lb" in told


class TestSectionsThatMayBeAbsent:
    def test_folders_of_the_planner_are_kept_back(self, plan: Plan) -> None:
        inputs = {"/home/a planner/terrain.tif": "ab" * 32}
        holding = dataclasses.replace(plan.holding, inputs=inputs)
        html = page(dated(dataclasses.replace(plan, holding=holding)))
        assert "terrain.tif" in html
        assert "a planner" not in html

    def test_prices_and_confidence_left_out(self, plan: Plan) -> None:
        bare = dataclasses.replace(with_scheme(plan, costing=None), confidence=None)
        schemes = tuple(dataclasses.replace(s, costing=None) for s in bare.schemes)
        reader = read(page(dated(dataclasses.replace(bare, schemes=schemes))))
        ids = {attributes.get("id") for _, attributes in reader.tags}
        assert not {"schedule", "stages", "sure", "what-if"} & ids
        assert reader.faults == []
        assert {"need", "scheme", "answers", "sources", "rests-on", "checks", "cautions"} <= ids

    def test_prices(self, html: str, plan: Plan) -> None:
        costing = plan.scheme.costing
        assert costing is not None
        told = words(html)
        for item in costing.items["description"]:
            assert item in told
        assert f"GBP {costing.totals['gross']:,.2f}" in told
        assert f"GBP {costing.whole_life['total']:,.0f}" in told
        stages = [a for tag, a in read(html).tags if a.get("id") == "stages"]
        assert len(stages) == (1 if len(costing.stages) else 0)

    def test_how_sure_in_words_an_adviser_can_say(self, html: str) -> None:
        told = words(html)
        assert "every outlet works in 7 of 10 cases" in told
        assert "Outlet 4 works in 7 of 10 cases and outlet 3 works in 9 of 10 cases" in told
        assert "Level these two points first: outlet 4 and source" in told

    def test_what_ifs_asked(self, plan: Plan) -> None:
        asked = WhatIfSettings(name="half the ewes", mob=[{"name": "ewes", "head": 60}])
        project = dated(plan).project.model_copy(update={"what_if": [asked]})
        told = words(page(dataclasses.replace(plan, project=project)))
        assert "half the ewes : mob ewes: head = 60" in told
        assert "dewpond compare HOLDING.toml -o compared" in told

    def test_what_ifs_answered(self, plan: Plan) -> None:
        html = page(dated(plan), a_comparison(plan))
        told = words(html)
        assert "short <b>walk</b>" in told
        assert "<b>walk" not in html
        assert "+1,250" in told
        assert "could not be planned: the source lies in a wood" in told

    def test_breaks(self, plan: Plan) -> None:
        html = proposal_html(dated(plan), broken_layers(plan))
        told = words(html)
        assert "cut into 2 breaks. Without water: Top Field 2 ." in told
        assert 'class="hose"' in html
        assert 'class="hose"' not in page(dated(plan))


class TestNames:
    def test_harmful_names_stay_text(self) -> None:
        html = page(named(HARMFUL, prepared_for=HARMFUL[0], reference=HARMFUL[3]))
        reader = read(html)
        assert reader.faults == []
        clean = read(page(named(("a", "b", "c", "d"), prepared_for="e", reference="f")))
        tags, plain = [t for t, _ in reader.tags], [t for t, _ in clean.tags]
        for tag in ("script", "img", "style", "b"):
            assert tags.count(tag) == plain.count(tag)
        told = words(html)
        for name in HARMFUL:
            assert name in told
        assert "49" not in [text.strip() for text in reader.texts]

    def test_harmful_name_of_the_holding_stays_in_its_string(self, plan: Plan) -> None:
        name = '"; } </style><script>alert(1)</script> \\'
        holding = dataclasses.replace(plan.holding, name=name)
        reader = read(page(dated(dataclasses.replace(plan, holding=holding))))
        assert [tag for tag, _ in reader.tags].count("script") == 2
        assert reader.faults == []

    def test_other_scripts_and_long_names(self) -> None:
        html = page(named(FOREIGN))
        told = words(html)
        for name in FOREIGN:
            assert name in told
            assert f'<bdi dir="auto">{environment().filters["e"](name)}</bdi>' in html

    def test_long_names_are_shortened_on_the_map_alone(self) -> None:
        plan = named(("x" * 300, "word " * 80, "c", "d"))
        labels = draw_site_map(plan, plan_layers(plan)).labels
        assert max(len(text) for label in labels for text in label["texts"]) <= 26
        assert "x" * 300 in words(page(plan))


class TestPlansOfOtherShapes:
    def test_two_hundred_outlets(self, plan: Plan) -> None:
        html = proposal_html(dated(plan), many_layers(plan, 200))
        assert read(html).faults == []
        assert html.count('class="item outlet') == 200
        assert len(html.encode()) < 1_500_000

    def test_one_paddock_planned_through(self) -> None:
        planned = farms.plan(
            farms.squares(1, 1, 250.0), lambda x, y: 200 - 0.05 * (y - farms.SOUTH) + 0 * x
        )
        html = page(dated(planned))
        assert read(html).faults == []
        assert html.count('class="item paddock') == 1
        assert "The scheme joins 1 outlet to tank" in words(html)

    def test_no_water_and_no_pipe_that_fits(self, plan: Plan) -> None:
        sizes = nothing_fits(plan.scheme.sizes)
        told = words(page(dated(with_scheme(plan, sizes=sizes))))
        assert "falls short" in told
        network = dataclasses.replace(
            plan.network, nodes=plan.network.nodes.iloc[:1], pipes=plan.network.pipes.iloc[:0],
            unconnected=(),
        )  # fmt: skip
        heads = dataclasses.replace(
            plan.heads, nodes=plan.heads.nodes.iloc[:1], pipes=plan.heads.pipes.iloc[:0],
            sections={},
        )  # fmt: skip
        siting = dataclasses.replace(plan.siting, sites=())
        parts: dict[str, Any] = no_water()
        dry = with_scheme(plan, network=network, heads=heads, siting=siting, costing=None, **parts)
        dry = dataclasses.replace(dry, confidence=None)
        assert "No place for an outlet could be joined to the source." in words(page(dated(dry)))


class TestMap:
    def test_paths_hold_the_shapes_they_are_drawn_from(self, plan: Plan) -> None:
        """Area and length read back from the path data of the page."""
        layers = plan_layers(plan)
        site_map = draw_site_map(plan, layers)
        for drawn, shape in zip(site_map.paddocks, layers["paddock"].geometry, strict=True):
            assert area_of(drawn["path"]) == pytest.approx(shape.area, rel=2e-3)
        for drawn, line in zip(site_map.pipes, layers["pipe"].geometry, strict=True):
            assert length_of(drawn["path"]) == pytest.approx(line.length, rel=2e-3)

    def test_a_place_on_the_map_is_the_place_on_the_ground(self, plan: Plan) -> None:
        layers = plan_layers(plan)
        site_map = draw_site_map(plan, layers)
        frame = site_map.frame
        for drawn, point in zip(site_map.outlets, layers["outlet"].geometry, strict=True):
            assert frame.west_m + drawn["at"][0] == pytest.approx(point.x, abs=0.01)
            assert frame.north_m - drawn["at"][1] == pytest.approx(point.y, abs=0.01)

    def test_bands_of_walk_cover_what_the_cells_say(self, plan: Plan) -> None:
        """Ground within each edge, measured on the map, against the sum of the walking cells."""
        bands = draw_site_map(plan, plan_layers(plan)).bands
        cells, walk = plan.reach.cells, plan.siting.walk_m
        for band in bands:
            if band.far_m == plan.reach.limit_m:
                continue  # the last one holds the whole paddock, ground out of reach drawn over it
            within = float(cells["area_m2"][walk <= band.far_m].sum())
            assert area_of(band.path) == pytest.approx(within, rel=0.08), band.far_m
        assert [band.far_m for band in bands] == [240.0, 200.0, 150.0, 100.0, 50.0]

    def test_contours_lie_at_their_level(self, plan: Plan) -> None:
        from hand_plan import height

        site_map = draw_site_map(plan, plan_layers(plan))
        frame = site_map.frame
        assert len(site_map.relief.contours) > 4
        for contour in site_map.relief.contours:
            points = pairs(contour.path)
            levels = [height(frame.west_m + x, frame.north_m - y) for x, y in points]
            assert max(abs(level - contour.level) for level in levels) < 0.6

    def test_names_of_paddocks_are_offered_inside_them(self, plan: Plan) -> None:
        layers = plan_layers(plan)
        site_map = draw_site_map(plan, layers)
        labels = [label for label in site_map.labels if label["kind"] == "paddock"]
        assert len(labels) == len(layers["paddock"])
        for label in labels:
            shape = layers["paddock"].geometry.iloc[int(label["of"].split("-")[1])]
            for x, y in label["places"]:
                point = shapely.Point(site_map.frame.west_m + x, site_map.frame.north_m - y)
                assert shape.contains(point)

    def test_things_at_one_fork_are_drawn_apart(self, plan: Plan) -> None:
        site_map = draw_site_map(plan, plan_layers(plan))
        step = 11 * site_map.frame.width_m / 690
        marks = [
            (mark["at"][0] + step * mark["aside"][0], mark["at"][1] + step * mark["aside"][1])
            for mark in site_map.marks["stop_valve"]
        ]
        apart = [shapely.Point(a).distance(shapely.Point(b)) for i, a in enumerate(marks)
                 for b in marks[:i]]  # fmt: skip
        assert min(apart) > step


@pytest.mark.parametrize(
    ("share", "said"),
    [(1.0, (100, 100)), (0.999, (99, 100)), (0.968, (97, 100)), (0.94, (9, 10)), (0.71, (7, 10)),
     (0.06, (1, 10)), (0.02, (2, 100)), (0.001, (1, 100)), (0.0, (0, 100))],
)  # fmt: skip
def test_chances_are_never_rounded_to_certainty(share: float, said: tuple[int, int]) -> None:
    assert chance(share) == said


def test_text_in_a_style_sheet_is_escaped_by_number() -> None:
    """CSS Syntax Module Level 3, section 4.3.7: a hexadecimal escape ends with a blank."""
    assert css_text('a"</b') == '"a\\22 \\3c \\2f b"'


def test_names_in_a_row() -> None:
    assert listed(["one"]) == "one"
    assert listed(["one", "two", "three"], " and ") == "one, two and three"


def pairs(path: str) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in re.findall(r"(-?[\d.]+) (-?[\d.]+)", path)]


def area_of(path: str) -> float:
    """Signed areas of the rings of a path: holes run the other way and count off."""
    total = 0.0
    for ring in filter(None, path.split("Z")):
        points = pairs(ring)
        total += sum(
            a[0] * b[1] - b[0] * a[1]
            for a, b in zip(points, [*points[1:], points[0]], strict=True)
        ) / 2  # fmt: skip
    return abs(total)


def length_of(path: str) -> float:
    return shapely.LineString(pairs(path)).length
