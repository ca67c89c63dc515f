"""Sentences come whole from their file, and a gap in one is an error, not a blank."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import jinja2
import jinja2.meta
import pytest

from dewpond.base import words as module
from dewpond.base.words import words


@pytest.fixture
def sentences(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "words").mkdir()
    (tmp_path / "words" / "fixture.toml").write_text(
        'larger_pump = "a pump of {{ power_w | number }} W"\n'
        '[tank]\nname = "{{ x | figures(3) }}"\n'
    )
    monkeypatch.setattr(module, "files", lambda _: tmp_path)


@pytest.mark.usefixtures("sentences")
def test_a_sentence_is_filled_in() -> None:
    assert words("fixture.larger_pump", power_w=1550.4) == "a pump of 1,550 W"
    assert words("fixture.tank.name", x=1234.5) == "1.23e+03"


@pytest.mark.usefixtures("sentences")
def test_what_is_missing_is_an_error() -> None:
    with pytest.raises(jinja2.UndefinedError):
        words("fixture.larger_pump")
    with pytest.raises(KeyError):
        words("fixture.no_such")


PACKAGE = Path(module.__file__).resolve().parents[1]


def asked_for() -> Iterator[tuple[str, str, set[str]]]:
    """Every sentence that the package asks for by a literal key, with the values it gives."""
    for path in sorted(PACKAGE.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "words":
                key, given = node.args[0], {keyword.arg for keyword in node.keywords}
                if isinstance(key, ast.Constant) and None not in given:
                    yield str(path.relative_to(PACKAGE)), str(key.value), given


def test_every_sentence_asked_for_stands_in_its_file_with_its_values() -> None:
    environment = module._environment()
    wrong, count = [], 0
    for path, key, given in asked_for():
        count += 1
        file, *names = key.split(".")
        entry: Any = module._table(file)
        for name in names:
            entry = entry.get(name, {})
        if not isinstance(entry, str):
            wrong.append(f"{path}: {key} is missing")
            continue
        named = jinja2.meta.find_undeclared_variables(environment.parse(entry))
        if named != given:
            wrong.append(f"{path}: {key} names {sorted(named)}, given {sorted(given)}")
    assert wrong == []
    assert count > 100


def keys_of(table: Mapping[str, Any], before: str) -> Iterator[str]:
    for name, entry in table.items():
        if isinstance(entry, str):
            yield f"{before}.{name}"
        else:
            yield from keys_of(entry, f"{before}.{name}")


def test_every_sentence_is_asked_for() -> None:
    """By its whole key, or by a key whose end a value fills in (``f"maps.title.{kind}"``)."""
    code = "\n".join(
        path.read_text(encoding="utf-8")
        for path in sorted(PACKAGE.rglob("*"))
        if path.suffix in (".py", ".html")
    )
    whole = set(re.findall(r"""["']([a-z_]+(?:\.\w+)+)["']""", code))
    begun = tuple(set(re.findall(r"""f["']((?:[a-z_]+\.)+[a-z_]*){""", code)))
    sentences = [
        key
        for path in sorted((PACKAGE / "words").glob("*.toml"))
        for key in keys_of(module._table(path.stem), path.stem)
    ]
    assert len(sentences) > 500
    assert [key for key in sentences if key not in whole and not key.startswith(begun)] == []
