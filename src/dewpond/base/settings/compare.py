"""Settings of a comparison: what to plan otherwise, and set beside the plan as it stands."""

from __future__ import annotations

from typing import Any

from pydantic import Field

from dewpond.base.settings.fields import Table, setting

Changes = dict[str, Any]
_AS_TABLE = "Keys of [{0}] that are otherwise, for instance {1}."


class WhatIfSettings(Table):
    """One thing to plan otherwise with `dewpond compare`: ``[[what_if]]``."""

    name: str = Field(min_length=1, description="What it is called in the comparison.")
    design: Changes = setting({}, _AS_TABLE.format("design", "{ walk_limit_m = 200.0 }"))
    mob: list[Changes] = setting(
        [], "Mobs that are otherwise, each with its name and the keys that differ."
    )
    source: list[Changes] = setting(
        [], "Sources that are otherwise, each with its name and the keys that differ."
    )
    terrain: Changes = setting({}, "Keys of [terrain] that are otherwise.")
    paddocks: Changes = setting({}, "Keys of [paddocks] that are otherwise.")
    features: Changes = setting({}, "Keys of [features] that are otherwise.")
    demand: Changes = setting({}, "Keys of [demand] that are otherwise.")
    walking: Changes = setting({}, "Keys of [walking] that are otherwise.")
    siting: Changes = setting({}, "Keys of [siting] that are otherwise.")
    routing: Changes = setting({}, "Keys of [routing] that are otherwise.")
    layout: Changes = setting({}, "Keys of [layout] that are otherwise.")
    pipe: Changes = setting({}, "Keys of [pipe] that are otherwise.")
    trough: Changes = setting({}, "Keys of [trough] that are otherwise.")
    supply: Changes = setting({}, "Keys of [supply] that are otherwise.")
    prices: Changes = setting({}, "Keys of [prices] that are otherwise.")

    def changes(self) -> Changes:
        """Return the tables that differ, as they stand in the project file."""
        return self.model_dump(exclude={"name"}, exclude_defaults=True)
