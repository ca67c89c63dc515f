"""The total of the schedule, worked out again from the features of plan.geojson and prices alone.

Nothing of the package is used but to make the plan: features, settings and price lists are read
as any reader of the result files would read them.
"""

from __future__ import annotations

import csv
import json
import math
from collections import Counter, defaultdict
from pathlib import Path
from typing import Any

import geopandas as gpd
import pytest
from shapely.geometry import LineString

import farms
from dewpond import write_plan
from dewpond.base.model import Plan

Rows = list[dict[str, Any]]
KINDS = ("fence", "track", "open ground")


class Reader:
    """Adds up a schedule from result files."""

    def __init__(self, folder: Path, data: Path) -> None:
        collection = json.loads((folder / "plan.geojson").read_text("utf-8"))
        self.kinds: dict[str, Rows] = defaultdict(list)
        for feature in collection["features"]:
            self.kinds[feature["properties"]["kind"]].append(feature["properties"])
        self.summary = json.loads((folder / "summary.json").read_text("utf-8"))
        self.settings = self.summary["settings"]["costing"]
        self.buried = self.summary["settings"]["design"]["laying"] == "buried"
        with (data / "schedule_prices.csv").open(encoding="utf-8") as lines:
            self.price = {row["code"]: float(row["price"]) for row in csv.DictReader(lines)}
        with (data / "pipe_prices.csv").open(encoding="utf-8") as lines:
            self.pipe_price = {
                (row["material"], float(row["outside_diameter_mm"]), float(row["sdr"])): float(
                    row["price_per_m"]
                )
                for row in csv.DictReader(lines)
            }
        self.count: Counter[str] = Counter()
        self.money = 0.0
        self.hours = 0.0

    def at_least(self, family: str, size: float) -> str:
        sizes = sorted(
            float(code.removeprefix(f"{family}-"))
            for code in self.price
            if code.startswith(f"{family}-") and code.removeprefix(f"{family}-").isdigit()
        )
        return f"{family}-{next(s for s in sizes if s >= size):g}"

    def total(self) -> float:
        self.source()
        for pipe in self.kinds["pipe"]:
            if pipe["laying"] != "existing":
                self.pipe(pipe)
        self.forks()
        self.on_the_pipe()
        self.outlets()
        self.mobile_troughs()
        self.money += sum(number * self.price[code] for code, number in self.count.items())
        net = self.money + self.hours * self.price["labour"]
        with_contingency = net * (1.0 + self.settings["contingency_share"])
        return float(with_contingency * (1.0 + self.settings["tax_share"]))

    def source(self) -> None:
        (source,) = [row for row in self.kinds["source"] if row["feeds_scheme"]]
        self.count[f"source-{source['source_kind'].replace('_', '-')}"] += 1
        self.hours += self.settings["source_h"]
        for tank in self.kinds["tank"]:
            self.count[self.at_least("tank", tank["volume_l"])] += 1
            self.count.update(["tank-base", "tank-fittings"])
            self.hours += self.settings["tank_h"]
        for pump in self.kinds["pump"]:
            self.count[self.at_least("pump-electric", pump["power_w"])] += 1
            self.hours += self.settings["pump_h"]

    def pipe(self, pipe: dict[str, Any]) -> None:
        joints = max(0, math.ceil(pipe["length_m"] / self.settings["coil_m"]) - 1)
        bought = pipe["length_m"] + joints * self.settings["joint_m"]
        price = self.pipe_price[pipe["material"], pipe["outside_diameter_mm"], pipe["sdr"]]
        self.money += price * bought * (1.0 + self.settings["pipe_waste_share"])
        self.count[f"coupler-{pipe['outside_diameter_mm']:g}"] += joints
        self.hours += joints * self.settings["joint_h"]
        for kind in KINDS:
            word = kind.replace(" ", "_")
            metres = pipe[f"{word}_m"]
            self.money += (
                metres
                * self.price[f"{'trench' if self.buried else 'lay'}-{kind.replace(' ', '-')}"]
            )
            way = f"{'buried' if self.buried else 'surface'}_{word}_h_per_100_m"
            self.hours += metres * self.settings[way] / 100.0
        for crossing in pipe["crossings"]:
            self.count[f"crossing-{crossing}"] += 1
            self.money += self.settings["sleeve_m"] * self.price["sleeve"]
            self.hours += self.settings[f"{crossing}_crossing_h"]

    def forks(self) -> None:
        leaving = Counter(pipe["from"] for pipe in self.kinds["pipe"])
        outlets = {outlet["name"] for outlet in self.kinds["outlet"]}
        for pipe in self.kinds["pipe"]:
            ways = leaving[pipe["to"]]
            tees = ways - 1 + (pipe["to"] in outlets) if ways else 0
            self.count[f"tee-{pipe['outside_diameter_mm']:g}"] += tees
            self.hours += tees * self.settings["joint_h"]
        (source,) = [row["name"] for row in self.kinds["source"] if row["feeds_scheme"]]
        first = [p["outside_diameter_mm"] for p in self.kinds["pipe"] if p["from"] == source]
        self.count[f"tee-{max(first):g}"] += len(first) - 1
        self.hours += (len(first) - 1) * self.settings["joint_h"]

    def on_the_pipe(self) -> None:
        size = {pipe["name"]: pipe["outside_diameter_mm"] for pipe in self.kinds["pipe"]}
        for kind in ("air_valve", "washout", "drain", "meter", "reducing_valve", "break_tank"):
            number = len(self.kinds[kind])
            self.count[kind.replace("_", "-")] += number
            hours = self.settings["break_tank_h" if kind == "break_tank" else "fitting_h"]
            self.hours += number * hours
        for valve in self.kinds["stop_valve"]:
            self.count[f"stop-valve-{size[valve['pipe']]:g}"] += 1
            self.hours += self.settings["fitting_h"]

    def outlets(self) -> None:
        size = {pipe["to"]: pipe["outside_diameter_mm"] for pipe in self.kinds["pipe"]}
        for outlet in self.kinds["outlet"]:
            self.count["stop-tap"] += 1
            connectors = self.settings["connectors_per_outlet"]
            self.count[f"connector-{size[outlet['name']]:g}"] += connectors
            self.hours += self.settings["outlet_h"]
            if outlet["trough"] == "mobile":
                self.count["hose-coupling"] += 1
                continue
            troughs = int(outlet["troughs"])
            each_l = outlet["trough_volume_l"] / troughs
            self.count[self.at_least("trough-fixed", each_l)] += troughs
            self.count["trough-base"] += troughs
            self.count["trough-link"] += troughs - 1
            self.count[self.at_least("float-valve", outlet["float_valve_seat_mm"])] += 1
            self.hours += troughs * self.settings["fixed_trough_h"]

    def mobile_troughs(self) -> None:
        """One set for each mob that drinks from mobile troughs, as its neediest outlet asks."""
        mobs = {paddock["name"]: paddock["mobs"] for paddock in self.kinds["paddock"]}
        outlets_of: dict[str, Rows] = defaultdict(list)
        for outlet in self.kinds["outlet"]:
            if outlet["trough"] == "mobile":
                for mob in {mob for paddock in outlet["serves"] for mob in mobs[paddock]}:
                    outlets_of[mob].append(outlet)
        volume_l = self.summary["settings"]["trough"]["mobile_volume_l"]
        for outlets in outlets_of.values():
            troughs = int(max(outlet["troughs"] for outlet in outlets))
            seat_mm = max(outlet["float_valve_seat_mm"] for outlet in outlets)
            self.count[self.at_least("trough-mobile", volume_l)] += troughs
            self.count["trough-link"] += troughs - 1
            self.count[self.at_least("float-valve", seat_mm)] += 1
            self.money += self.summary["settings"]["design"]["hose_m"] * self.price["hose"]


def lines(path: Path, *ways: list[tuple[float, float]]) -> str:
    shapes = [LineString([(farms.WEST + x, farms.SOUTH + y) for x, y in way]) for way in ways]
    gpd.GeoDataFrame({"name": ["" for _ in ways]}, geometry=shapes, crs=farms.CRS).to_file(path)
    return str(path)


@pytest.mark.parametrize("case", ["surface and mobile", "buried and fixed", "pumped"])
def test_total_from_features_alone(case: str, tmp_path: Path, root: Path) -> None:
    plan = make(case, tmp_path)
    folder = tmp_path / "result"
    write_plan(plan, folder, documents=False)
    found = Reader(folder, root / "src" / "dewpond" / "data")
    schedule = found.summary["schedule"]["totals"]
    lines_of_the_schedule = len(plan.scheme.costing.items)  # type: ignore[union-attr]
    # Every line is rounded to the cent.
    assert found.total() == pytest.approx(schedule["gross"], abs=0.005 * lines_of_the_schedule)
    if case == "buried and fixed":
        assert found.count["crossing-track"] + found.count["crossing-watercourse"] > 0


def make(case: str, folder: Path) -> Plan:
    shapes = farms.squares(3, 2, 260.0)
    track = lines(folder / "track.gpkg", [(270, -60), (270, 600)])
    beck = lines(folder / "beck.gpkg", [(-50, 130), (900, 135)])
    tables: dict[str, Any] = {"features": {"tracks": track, "watercourses": beck}}
    mob = {"species": "cattle", "head": 60, "weight_kg": 500.0}
    if case == "buried and fixed":
        tables |= {"design": {"laying": "buried", "trough": "fixed"}}
        tables |= {"costing": {"tax_share": 0.2, "coil_m": 50.0}}
    if case == "pumped":
        bore = {
            "name": "bore", "kind": "borehole", "at": [farms.WEST, farms.SOUTH],
            "crs": farms.CRS, "yield_l_min": 40.0, "pump": {"water_level_below_m": 25.0},
        }  # fmt: skip
        tables |= {"source": [bore], "design": {"hose_m": 20.0}}
    tables["mob"] = [
        {**mob, "name": "stores"},
        {**mob, "name": "heifers", "head": 25, "paddocks": ["field 1", "field 2"]},
    ]
    return farms.plan(shapes, lambda x, y: 200.0 - 0.01 * (x - farms.WEST) + 0.0 * y, **tables)
