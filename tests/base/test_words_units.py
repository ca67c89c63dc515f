"""Sentences follow the units of the documents, each figure with its unit."""

from __future__ import annotations

import threading
from collections.abc import Callable

import pytest

from dewpond.base import words as module
from dewpond.base.measures import Measures, Quantity
from dewpond.base.words import measures_in_force, printing

US = Measures("US customary")


def said(template: str, **values: float) -> str:
    return module._environment().from_string(template).render(values)


@pytest.mark.parametrize(
    ("name", "quantity", "metric", "decimals"),
    [
        ("length", "length", 304.8, 0),
        ("level", "level", 243.91, 1),
        ("head", "head", 12.34, 1),
        ("area", "area", 3.1, 2),
        ("volume", "volume", 1520.0, 0),
        ("flow", "flow", 16.55, 1),
        ("speed", "speed", 1.358, 2),
        ("pressure", "pressure", 6.2, 1),
        ("weight", "weight", 650.0, 0),
        ("power", "power", 1550.0, 0),
        ("bulk_volume", "bulk volume", 12.3, 1),
    ],
)
def test_a_figure_stands_as_the_documents_print_it(
    name: str, quantity: Quantity, metric: float, decimals: int
) -> None:
    template = f"{{{{ x | {name}({decimals}) }}}}"
    assert said(template, x=metric) == Measures().text(quantity, metric, decimals)
    with printing(US):
        assert said(template, x=metric) == US.text(quantity, metric)


# Conversions by definition of the units (NIST Special Publication 811, from memory).
@pytest.mark.parametrize(
    ("template", "value", "metric", "us"),
    [
        ("{{ x | head(1) }}", 1.2, "1.2 m", "4 ft"),
        ("{{ x | length }}", 37.5, "37.5 m", "123 ft"),
        ("{{ x | length }}", 1000.0, "1000 m", "3,281 ft"),
        ("{{ x | depth(0) }}", 750.0, "750 mm", "29.53 in"),
        ("{{ x | diameter }}", 50.0, "50 mm", "50 mm (1.97 in)"),
        ("{{ x | temperature }}", 30.0, "30 °C", "86 °F"),
        ("{{ x | flow(1, bare=true) }}", 37.85411784, "37.9", "10.0"),
        ("2 {{ unit_of('length') }}", 0.0, "2 m", "2 ft"),
    ],
)
def test_known_conversions(template: str, value: float, metric: str, us: str) -> None:
    assert said(template, x=value) == metric
    with printing(US):
        assert said(template, x=value) == us


def test_a_small_figure_is_not_printed_as_nothing() -> None:
    with printing(US):
        assert said("{{ x | head(1) }}", x=0.1) == "0.3 ft"
        assert said("{{ x | head(1) }}", x=0.0) == "0 ft"


def test_units_hold_within_and_are_put_back_after_an_error() -> None:
    def fail() -> None:
        with printing(US):
            assert measures_in_force() == US
            raise RuntimeError

    with pytest.raises(RuntimeError):
        fail()
    assert measures_in_force() == Measures("metric")


def test_another_thread_prints_metric_until_it_enters_itself() -> None:
    found: list[Measures] = []
    append: Callable[[], None] = lambda: found.append(measures_in_force())  # noqa: E731
    with printing(US):
        thread = threading.Thread(target=append)
        thread.start()
        thread.join()
    assert found == [Measures("metric")]
