"""Quantities counted from the features of a scheme, from the source outward."""

from __future__ import annotations

import math

import pandas as pd

from dewpond.base.laying import laid_m
from dewpond.base.price_list import Price
from dewpond.base.settings.fields import INVENTED
from dewpond.base.words import words
from dewpond.steps.costing.book import SOURCE, Book
from dewpond.steps.costing.facts import Facts
from dewpond.steps.costing.places import points_along


def take_off_pipe(book: Book) -> None:
    """Count pipe with waste, couplers at the joints of coils, laying, crossings, wayleaves."""
    facts = book.facts
    for name in facts.network.pipes.index[facts.is_new]:
        pipe = str(name)
        joints = _joints(facts, pipe)
        if pipe not in facts.unsized:
            costing = facts.settings.costing
            bought = facts.length_m[pipe] + joints * costing.joint_m
            book.add(
                "pipe", _pipe_price(facts, pipe), bought * (1.0 + costing.pipe_waste_share),
                [pipe], pipe, measured=float(facts.length_m[pipe]),
            )  # fmt: skip
            book.add_sized("fittings", "coupler", facts.diameter_mm[pipe], joints, [pipe], pipe)
            book.labour("joints", joints * costing.joint_h, [pipe], pipe, "coupler")
        _lay(book, pipe)
        _cross(book, pipe)
        book.add("laying", "wayleave", round(book.places.wayleave_m[pipe], 2), [pipe], pipe)


def _joints(facts: Facts, pipe: str) -> int:
    """Return the joints of coils in a pipe: none where one coil is long enough."""
    coils = float(facts.length_m[pipe]) / facts.settings.costing.coil_m
    return max(0, math.ceil(coils) - 1)


def _pipe_price(facts: Facts, pipe: str) -> Price:
    row = facts.sizes.pipes.loc[pipe]
    settings = facts.settings
    described = words(
        "costing.pipe", material=row["material"], diameter_mm=row["outside_diameter_mm"],
        sdr=row["sdr"], class_bar=row["pressure_class_bar"],
    )  # fmt: skip
    code = f"pipe-{row['material']}-{row['outside_diameter_mm']:g}-SDR{row['sdr']:g}"
    source = INVENTED if settings.pipe.prices is None else settings.pipe.prices
    return Price(
        code, described, "m", float(row["price_per_m"]), "", settings.costing.pipe_life_years,
        source,
    )  # fmt: skip


def _lay(book: Book, pipe: str) -> None:
    """Count laying by kind; the kinds of a pipe share its length as they share its line."""
    facts, costing = book.facts, book.facts.settings.costing
    buried = facts.settings.design.laying == "buried"
    hours_per_100_m = {
        "fence": (costing.surface_fence_h_per_100_m, costing.buried_fence_h_per_100_m),
        "track": (costing.surface_track_h_per_100_m, costing.buried_track_h_per_100_m),
        "open ground": (
            costing.surface_open_ground_h_per_100_m, costing.buried_open_ground_h_per_100_m,
        ),
    }  # fmt: skip
    runs = facts.network.pipes.at[pipe, "laying_m"]
    for kind, laid in laid_m(runs, float(facts.length_m[pipe])).items():
        code = ("trench-" if buried else "lay-") + kind.replace(" ", "-")
        book.add("laying", code, laid, [pipe], pipe)
        book.labour("laying", laid * hours_per_100_m[kind][buried] / 100.0, [pipe], pipe, code)


def _cross(book: Book, pipe: str) -> None:
    costing = book.facts.settings.costing
    hours = {"track": costing.track_crossing_h, "watercourse": costing.watercourse_crossing_h}
    for kind in book.facts.network.pipes.at[pipe, "crossings"]:
        code = f"crossing-{kind}"
        book.add("crossings", code, 1, [pipe], pipe)
        book.add("crossings", "sleeve", costing.sleeve_m, [pipe], pipe)
        book.labour("crossings", hours[kind], [pipe], pipe, code)


def take_off_fittings(book: Book) -> None:
    """Count tees where pipe forks or runs on from an outlet, and what stands on the pipe."""
    facts, costing = book.facts, book.facts.settings.costing
    for node, kind in facts.network.nodes["kind"].items():
        leaving = facts.leaving.get(str(node), [])
        tees = len(leaving) - 1 + (kind == "outlet") if leaving else 0
        feeding = facts.feeding.get(str(node))
        size_mm = facts.widest_mm([feeding] if feeding else leaving)
        features = [feeding] if feeding else [facts.source.name]
        if math.isfinite(size_mm):
            book.add_sized("fittings", "tee", size_mm, tees, features, feeding or SOURCE)
            book.labour("joints", tees * costing.joint_h, features, feeding or SOURCE, "tee")
    for name, pipe, _ in points_along(facts):
        family = name.rpartition(" ")[0].replace(" ", "-")
        if family == "stop-valve":
            if not math.isfinite(facts.diameter_mm[pipe]):
                continue
            book.add_sized("fittings", family, facts.diameter_mm[pipe], 1, [name], pipe)
        else:
            book.add("fittings", family, 1, [name], pipe)
        hours = costing.break_tank_h if family == "break-tank" else costing.fitting_h
        book.labour("fittings", hours, [name], pipe, family)


def take_off_outlets(book: Book) -> None:
    """Count what each outlet is fitted with, and the troughs."""
    facts, costing = book.facts, book.facts.settings.costing
    for outlet in facts.outlets:
        row = facts.watering.outlets.loc[outlet]
        size_mm = facts.widest_mm([facts.feeding[outlet]]) if outlet in facts.feeding else math.nan
        book.add("outlets", "stop-tap", 1, [outlet], outlet)
        book.add_sized(
            "outlets", "connector", size_mm, costing.connectors_per_outlet, [outlet], outlet
        )
        book.labour("outlets", costing.outlet_h, [outlet], outlet, "stop-tap")
        if "fixed" in row["trough"]:
            _fixed_troughs(book, outlet, row)
        else:
            book.add("outlets", "hose-coupling", 1, [outlet], outlet)
            if costing.mobile_troughs == "each outlet":
                _mobile_troughs(book, row, [outlet], outlet)
    if costing.mobile_troughs == "each mob":
        for mob, outlets in mobile_troughs_by_mob(facts).items():
            rows = facts.watering.outlets.loc[outlets]
            _mobile_troughs(book, rows.max(numeric_only=True), outlets, f"mob {mob}")


def mobile_troughs_by_mob(facts: Facts) -> dict[str, list[str]]:
    """Return the outlets at which each mob drinks from a trough that moves with it."""
    stands = facts.watering.outlets
    mobile = [str(name) for name in stands.index if "fixed" not in stands.at[name, "trough"]]
    uses = facts.watering.uses
    uses = uses[uses["outlet"].isin(mobile)]
    order = {str(name): number for number, name in enumerate(facts.network.nodes.index)}
    return {
        str(mob): sorted(set(map(str, group)), key=order.__getitem__)
        for mob, group in uses.groupby("mob", sort=True)["outlet"]
    }


def _fixed_troughs(book: Book, outlet: str, row: pd.Series) -> None:
    troughs = int(row["troughs"])
    each_l = float(row["trough_volume_l"]) / troughs
    stands = troughs * max(
        1, book.add_sized("outlets", "trough-fixed", each_l, troughs, [outlet], outlet,
                          several=True)
    )  # fmt: skip
    book.add("outlets", "trough-base", stands, [outlet], outlet)
    book.add("outlets", "trough-link", stands - 1, [outlet], outlet)
    book.add_sized("outlets", "float-valve", row["seat_bore_mm"], 1, [outlet], outlet)
    hours = stands * book.facts.settings.costing.fixed_trough_h
    book.labour("outlets", hours, [outlet], outlet, "trough-fixed")


def _mobile_troughs(book: Book, row: pd.Series, outlets: list[str], element: str) -> None:
    """Count one set of mobile troughs: as many and as large as the neediest of some outlets."""
    design, trough = book.facts.settings.design, book.facts.settings.trough
    troughs = int(row["troughs"])
    stands = troughs * book.add_sized(
        "outlets", "trough-mobile", trough.mobile_volume_l, troughs, outlets, element, several=True
    )
    book.add("outlets", "trough-link", stands - 1, outlets, element, beside="trough-mobile")
    book.add_sized(
        "outlets", "float-valve", row["seat_bore_mm"], 1, outlets, element, beside="trough-mobile"
    )
    book.add("outlets", "hose", design.hose_m, outlets, element)
