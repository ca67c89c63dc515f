"""Every snippet of the page on sources is a source that can be planned from."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

import pytest

from steps.supply.supply_farm import farm

PAGE = Path(__file__).resolve().parents[3] / "docs" / "how-to" / "sources.md"
SNIPPETS = re.findall(r"^```toml\n(.*?)^```", PAGE.read_text(encoding="utf-8"), re.M | re.S)
MAIN = {"name": "road main", "kind": "mains", "static_pressure_bar": 3.2}


def test_every_kind_is_shown() -> None:
    kinds = set(re.findall(r'kind = "(\w+)"', "".join(SNIPPETS)))
    assert kinds == {"mains", "header_tank", "spring", "borehole", "surface_water", "bowser"}


@pytest.mark.parametrize("snippet", SNIPPETS, ids=range(len(SNIPPETS)))
def test_a_snippet_is_judged(snippet: str) -> None:
    tables: dict[str, Any] = tomllib.loads(snippet)
    (source,) = tables.pop("source")
    del source["at"]  # the hill of the tests lies elsewhere
    for bucket in source.get("bucket", []):
        bucket.pop("level_m", None)
    others = [] if source["name"] == "road main" else [MAIN]
    supply = farm(source, *others, slope=-0.05, **tables).judge()
    assert supply.judgements
    assert supply.cautions
