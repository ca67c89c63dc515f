"""What json cannot hold is made fit for it, and comes back as the same figure."""

from __future__ import annotations

import json
import math

import numpy as np

from dewpond.base.strict_json import json_text


def test_values_come_back() -> None:
    value = {1: (np.float64(0.1234567891), np.int64(3), np.bool_(True)), "name": "Łąka"}
    text = json_text(value)
    assert json.loads(text) == {"1": [0.123456789, 3, True], "name": "Łąka"}
    assert "Łąka" in text
    assert text.endswith("}\n")


def test_what_is_not_known_is_null() -> None:
    assert json.loads(json_text([math.nan, math.inf, -math.inf, np.float64("nan")])) == [None] * 4
