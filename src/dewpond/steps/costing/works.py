"""Works at the source: connection, tank and pump."""

from __future__ import annotations

import math

from dewpond.steps.costing.book import SOURCE, Book


def take_off_works(book: Book) -> None:
    """Count what stands at the source; a tank or pump that is there already costs nothing."""
    facts, costing = book.facts, book.facts.settings.costing
    source = facts.source
    connection = f"source-{source.settings.kind.replace('_', '-')}"
    book.add("source", connection, 1, [source.name], SOURCE)
    book.labour("source", costing.source_h, [source.name], SOURCE, connection)
    volume_l = max(facts.supply.tank.get("volume_l", 0.0), _storage_l(book))
    if volume_l > (source.settings.tank_volume_l or 0.0):
        _tank(book, volume_l)
    if facts.supply.pump:
        _pump(book)


def _storage_l(book: Book) -> float:
    """Return the storage that a solar pump asks for [L], 0 where there is none."""
    storage_l = book.facts.supply.pump.get("storage_l", math.nan)
    return storage_l if math.isfinite(storage_l) else 0.0


def _tank(book: Book, volume_l: float) -> None:
    if not math.isfinite(volume_l):
        return
    tank = [f"tank at {book.facts.source.name}" if book.facts.supply.tank else
            f"pump at {book.facts.source.name}"]  # fmt: skip
    tanks = book.add_sized("source", "tank", volume_l, 1, tank, SOURCE, several=True)
    book.add("source", "tank-base", tanks, tank, SOURCE)
    book.add("source", "tank-fittings", tanks, tank, SOURCE)
    book.labour("source", tanks * book.facts.settings.costing.tank_h, tank, SOURCE, "tank")


def _pump(book: Book) -> None:
    """Count a pump, unless the source gives the curve of one that is there."""
    pump, found = book.facts.source.settings.pump, book.facts.supply.pump
    power_w = found.get("power_w", math.nan)
    if (pump is not None and pump.curve_flow_l_min) or not math.isfinite(power_w):
        return
    name = [f"pump at {book.facts.source.name}"]
    solar = pump is not None and pump.power == "solar"
    book.add_sized("source", f"pump-{'solar' if solar else 'electric'}", power_w, 1, name, SOURCE)
    panel_w = found.get("panel_w", math.nan)
    if math.isfinite(panel_w):
        book.add("source", "solar-panel", panel_w, name, SOURCE)
    book.labour("source", book.facts.settings.costing.pump_h, name, SOURCE, "pump")
