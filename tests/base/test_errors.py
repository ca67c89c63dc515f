"""Messages a land agent can act on."""

from __future__ import annotations

import pytest

from dewpond.base.errors import (
    DewpondError,
    Fault,
    InputError,
    OutputError,
    SolverError,
    nearest_name,
)


def test_fault_says_where_what_found_expected_and_what_to_do():
    fault = Fault("a.geojson, feature 3", "has no geometry", "nothing", "a polygon", "draw it")
    assert str(fault) == (
        "a.geojson, feature 3: has no geometry; found nothing; expected a polygon; draw it"
    )
    assert str(Fault("a.toml", "is missing")) == "a.toml: is missing"


def test_input_error_holds_every_fault():
    error = InputError(Fault("a", str(number)) for number in range(3))
    assert len(error.faults) == 3
    assert str(error) == "a: 0\na: 1\na: 2"


@pytest.mark.parametrize(
    ("kind", "ancestor"),
    [(InputError, ValueError), (SolverError, RuntimeError), (OutputError, OSError)],
)
def test_one_root_for_all(kind, ancestor):
    assert issubclass(kind, DewpondError)
    assert issubclass(kind, ancestor)


@pytest.mark.parametrize(
    ("name", "valid", "expected"),
    [
        ("Top Feild", ["Low Field", "Top Field"], 'did you mean "Top Field"?'),
        ("TOP FIELD", ["Low Field", "Top Field"], 'did you mean "Top Field"?'),
        ("zzz", ["a", "b"], "valid names: a, b"),
        ("zzz", [], ""),
        ("zzz", [f"field {i}" for i in range(40)], "and 28 more"),
    ],
)
def test_nearest_name(name, valid, expected):
    assert expected in nearest_name(name, valid)
