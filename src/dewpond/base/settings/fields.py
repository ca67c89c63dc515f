"""How a setting is declared, and the frozen base that every settings table shares."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel, ConfigDict, Field
from pydantic.config import JsonDict

COMMON_PRACTICE = "common practice, no source"
INVENTED = "invented sample price"


class Table(BaseModel):
    """A frozen TOML table; unknown keys are refused, so a typo never passes silently."""

    model_config = ConfigDict(
        frozen=True,
        extra="forbid",
        strict=True,
        allow_inf_nan=False,
        use_attribute_docstrings=True,
    )


def setting(default: Any, description: str, source: str = "", **bounds: Any) -> Any:
    """Declare a setting: its default, what it means, where the default comes from, its bounds."""
    extra: JsonDict = {"source": source} if source else {}
    return Field(default=default, description=description, json_schema_extra=extra, **bounds)
