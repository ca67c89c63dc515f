"""Values made fit for strict JSON: no infinities, no library types, the same text every time."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any


def json_text(value: Any) -> str:
    """Return a value as a JSON document that ends in a line break.

    Floats are written to the ninth decimal; one that is not a number or not finite is null.
    """
    return json.dumps(_plain(value), ensure_ascii=False, indent=1, allow_nan=False) + "\n"


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if hasattr(value, "item"):
        value = value.item()
    if isinstance(value, float):
        return round(value, 9) if math.isfinite(value) else None
    return value
