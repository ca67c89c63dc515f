"""The workbook: its formulas worked out elsewhere, names that stay text, the same bytes."""

from __future__ import annotations

import csv
import io
import zipfile
from dataclasses import replace

import numpy as np
import pytest
from evaluated import Evaluated
from full_plan import settings
from hand_plan import make_plan, with_scheme
from openpyxl import load_workbook

from dewpond.base.model import Costing, Plan
from dewpond.outputs.schedule import quantities_csv, quantities_xlsx

HOSTILE = ('=HYPERLINK("http://x","y")', "+1", "@SUM(A1)", "-2+3")


@pytest.fixture(scope="module")
def costing(full: Plan) -> Costing:
    assert full.scheme.costing is not None
    return full.scheme.costing


@pytest.fixture(scope="module")
def sheets(full: Plan, costing: Costing, tmp_path_factory: pytest.TempPathFactory) -> Evaluated:
    path = tmp_path_factory.mktemp("schedule") / "quantities.xlsx"
    path.write_bytes(quantities_xlsx(full, costing))
    return Evaluated(path)


@pytest.fixture(scope="module")
def hostile_names() -> Plan:
    plan = make_plan(HOSTILE, source_name=HOSTILE[0])
    paddocks = plan.holding.paddocks.assign(parcel=list(HOSTILE))
    plan = replace(plan, holding=replace(plan.holding, name=HOSTILE[0], paddocks=paddocks))
    grant = {"name": "=1+1", "pays_for": ["pipe"], "share": 0.1, "source": "@x"}
    return settings(plan, grant=[grant], documents={"prepared_for": "=2+2"})


class TestFormulas:
    def test_no_formula_fails(self, sheets: Evaluated) -> None:
        count = 0
        for sheet in sheets.written:
            for row in sheet.iter_rows():
                for cell in row:
                    if cell.data_type == "f":
                        value = sheets(sheet.title, cell.coordinate)
                        assert not str(value).startswith("#"), (sheet.title, cell.coordinate)
                        count += 1
        assert count > 600

    def test_amounts(self, sheets: Evaluated, costing: Costing) -> None:
        schedule = sheets.written["Schedule"]
        lines = [row for row in range(7, schedule.max_row + 1)
                 if "." in str(schedule[f"A{row}"].value)]  # fmt: skip
        assert [sheets("Schedule", f"F{row}") for row in lines] == pytest.approx(
            list(costing.items["amount"])
        )
        grants = [sheets.values.get(("SCHEDULE", f"H{row}"), 0.0) or 0.0 for row in lines]
        assert grants == pytest.approx(list(costing.items["grant"]))

    def test_totals(self, sheets: Evaluated, costing: Costing) -> None:
        labels = {
            "net": "Net", "contingency": "Contingency", "tax": "VAT", "gross": "Total",
            "grant": "Grants", "to_pay": "To pay after grants", "landlord": "Landlord",
            "tenant": "Tenant", "portable": "Portable",
        }  # fmt: skip
        for name, label in labels.items():
            row = sheets.row_of("Schedule", label, "B")
            assert sheets("Schedule", f"F{row}") == pytest.approx(costing.totals[name]), name

    def test_grants_under_their_caps(self, sheets: Evaluated, costing: Costing) -> None:
        due = sheets.column("Grants", "B", 5, 7)
        assert due == pytest.approx(list(costing.grants["amount"]))
        assert sheets.column("Grants", "E", 5, 7) == ["no", "yes", "yes"]
        assert due[1] == 250.0

    def test_stages(self, sheets: Evaluated, costing: Costing) -> None:
        last = 6 + len(costing.stages)
        for letter, name in (("E", "net"), ("F", "gross"), ("G", "running_gross")):
            found = sheets.column("Stages", letter, 7, last)
            assert found == pytest.approx(list(costing.stages[name]), abs=0.01)
        within = [word == "yes" for word in sheets.column("Stages", "H", 7, last)]
        assert within == list(costing.stages["within_budget"])
        checks = sheets.column("Stage quantities", "E", 5, 4 + len(costing.items))
        assert set(checks) == {0.0}

    def test_whole_life_of_each_source(self, sheets: Evaluated, full: Plan) -> None:
        parts = {
            "capital": "Capital, after grants", "water": "Metered water", "energy": "Electricity",
            "hauling": "Hauling water", "moving": "Moving troughs", "replacement": "Replacement",
            "total": "Whole life, present value", "each_year": "As an even sum each year",
        }  # fmt: skip
        for letter, scheme in zip("BC", full.schemes, strict=True):
            assert scheme.costing is not None
            for name, label in parts.items():
                row = sheets.row_of("Whole life", label)
                found = sheets("Whole life", f"{letter}{row}")
                assert found == pytest.approx(scheme.costing.whole_life[name]), name

    def test_features_add_up(self, sheets: Evaluated, costing: Costing) -> None:
        last = 3 + len(costing.takeoff)
        assert sheets("Features", f"G{last + 1}") == pytest.approx(costing.totals["net"])
        assert sheets.column("Features", "G", 4, last) == pytest.approx(
            list(costing.takeoff["amount"])
        )


class TestUnits:
    def test_feet_cost_what_metres_cost(self, full: Plan) -> None:
        feet = settings(full, documents={"units": "US customary"})
        costing = feet.scheme.costing
        assert costing is not None
        book = load_workbook(io.BytesIO(quantities_xlsx(feet, costing)))
        printed = [
            row[2].value * row[4].value
            for row in book["Schedule"].iter_rows(min_row=7)
            if "." in str(row[0].value)
        ]
        assert printed == pytest.approx(list(costing.items["amount"]), abs=0.00501)
        rows = list(csv.DictReader(io.StringIO(quantities_csv(feet, costing))))
        pipe = next(r for r in rows if r["code"] == "pipe-PE80-25-SDR11")
        assert pipe["unit"] == "ft"
        assert "(0.98 in)" in pipe["description"]
        metres = costing.items.set_index("code").at["pipe-PE80-25-SDR11", "quantity"]
        assert float(pipe["quantity"]) == pytest.approx(metres / 0.3048, abs=1e-5)
        assert any("US gal" in row["description"] for row in rows)

    def test_another_currency(self, full: Plan) -> None:
        plan = settings(full, prices={"currency": "AUD"})
        assert plan.scheme.costing is not None
        made = load_workbook(io.BytesIO(quantities_xlsx(plan, plan.scheme.costing)))
        assert "AUD" in made["Schedule"]["A4"].value
        notes = [str(cell.value) for cell in made["Assumptions"]["B"]]
        assert any("as if they were AUD" in note for note in notes)


class TestSafety:
    def test_names_stay_text_in_the_workbook(self, hostile_names: Plan) -> None:
        assert hostile_names.scheme.costing is not None
        made = quantities_xlsx(hostile_names, hostile_names.scheme.costing)
        book = load_workbook(io.BytesIO(made))
        texts = 0
        for sheet in book:
            for row in sheet.iter_rows():
                for cell in row:
                    if isinstance(cell.value, str) and cell.value.startswith(("=", "+", "@", "-")):
                        if cell.data_type == "f":
                            assert not any(name in cell.value for name in (*HOSTILE, "=1+1"))
                        else:
                            assert cell.quotePrefix, cell.coordinate
                            texts += 1
        assert texts > 10
        with zipfile.ZipFile(io.BytesIO(made)) as archive:
            parts = [archive.read(name).decode() for name in archive.namelist()
                     if name.startswith("xl/worksheets/")]  # fmt: skip
        assert not any("<f>HYPERLINK" in part or "<hyperlink" in part for part in parts)

    def test_names_do_no_harm_in_csv(self, hostile_names: Plan) -> None:
        assert hostile_names.scheme.costing is not None
        rows = list(csv.reader(io.StringIO(
            quantities_csv(hostile_names, hostile_names.scheme.costing)
        )))  # fmt: skip
        assert not [c for row in rows for c in row if c.startswith(("=", "+", "@", "\t", "\r"))]
        cells = [cell for row in rows for cell in row]
        assert any(cell.startswith("'=HYPERLINK") for cell in cells)

    def test_letters_that_xml_does_not_allow(self, full: Plan) -> None:
        plan = replace(
            full, holding=replace(full.holding, name="Top\x07 \x0b & <Field> Ферма مزرعة")
        )
        assert plan.scheme.costing is not None
        book = load_workbook(io.BytesIO(quantities_xlsx(plan, plan.scheme.costing)))
        assert book["Schedule"]["A1"].value.startswith("Top & <Field> Ферма مزرعة")


class TestForm:
    def test_same_plan_same_bytes(self, full: Plan, costing: Costing) -> None:
        first = quantities_xlsx(full, costing)
        assert first == quantities_xlsx(full, costing)
        with zipfile.ZipFile(io.BytesIO(first)) as archive:
            assert {entry.date_time for entry in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}
            core = archive.read("docProps/core.xml").decode()
        assert core.count("2000-01-01T00:00:00Z") == 2

    def test_set_up_for_paper_and_screen(self, sheets: Evaluated) -> None:
        assert sheets.written.sheetnames == [
            "Schedule", "Grants", "Stages", "Stage quantities", "Whole life", "Features",
            "Assumptions",
        ]  # fmt: skip
        for sheet in sheets.written:
            assert (sheet.page_setup.paperSize, sheet.page_setup.fitToHeight) == ("9", 0) or (
                int(sheet.page_setup.paperSize), int(sheet.page_setup.fitToHeight)
            ) == (9, 0)  # fmt: skip
            assert sheet.sheet_properties.pageSetUpPr.fitToPage
        schedule = sheets.written["Schedule"]
        assert schedule.freeze_panes == "C7"
        assert schedule.print_title_rows == "$6:$6"
        assert schedule["F9"].style == "Money"

    def test_csv_holds_the_same_lines(self, full: Plan, costing: Costing) -> None:
        rows = list(csv.DictReader(io.StringIO(quantities_csv(full, costing))))
        lines = [row for row in rows if row["work"] != "total"]
        totals = {row["code"]: float(row["amount"]) for row in rows if row["work"] == "total"}
        assert [float(row["amount"]) for row in lines] == pytest.approx(
            list(costing.items["amount"])
        )
        assert totals == pytest.approx({name: costing.totals[name] for name in totals})
        assert sum(totals[name] for name in ("net", "contingency", "tax")) == pytest.approx(
            totals["gross"]
        )
        assert any("SD 1" in row["parcels"] for row in lines)

    def test_pipe_without_a_size_is_said_at_the_head(self, full: Plan) -> None:
        sizes = full.scheme.sizes
        blank = sizes.pipes.copy()
        blank.loc["pipe 3"] = np.nan
        plan = settings(with_scheme(full, sizes=replace(sizes, pipes=blank)))
        costing = plan.scheme.costing
        assert costing is not None
        book = load_workbook(io.BytesIO(quantities_xlsx(plan, costing)))
        assert "pipe 3" in book["Schedule"]["A5"].value
        assert "road main, pipe missing" in book["Whole life"]["B18"].value
        missing_m = plan.network.pipes.at["pipe 3", "length_m"]
        assert costing.rates["unpriced_pipe_m"] == pytest.approx(missing_m, abs=0.005)

    def test_a_plan_without_outlets(self, full: Plan) -> None:
        assert full.scheme.costing is not None
        costing = full.scheme.costing
        bare = replace(
            costing, items=costing.items.iloc[:0], takeoff=costing.takeoff.iloc[:0],
            stages=costing.stages.iloc[:0], totals=dict.fromkeys(costing.totals, 0.0),
        )  # fmt: skip
        scheme = replace(full.scheme, costing=bare)
        plan = replace(full, schemes=(scheme,), chosen=0)
        book = load_workbook(io.BytesIO(quantities_xlsx(plan, bare)))
        assert "Stages" not in book.sheetnames
        assert np.isfinite(float(quantities_csv(plan, bare).splitlines()[1].split(",")[7]))
