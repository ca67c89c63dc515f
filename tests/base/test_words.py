"""Sentences come whole from their file, and a gap in one is an error, not a blank."""

from __future__ import annotations

from pathlib import Path

import jinja2
import pytest

from dewpond.base import words as module
from dewpond.base.words import words


@pytest.fixture
def sentences(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "words").mkdir()
    (tmp_path / "words" / "fixture.toml").write_text(
        'larger_pump = "a pump of {{ power_w | number }} W"\n[tank]\nname = "{{ x | figures(3) }}"\n'
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
