"""Parcel identifiers in the features of a plan."""

from __future__ import annotations

import json
from dataclasses import replace

from dewpond.base.model import Plan
from dewpond.outputs.geojson import geojson_text
from dewpond.outputs.layers import plan_layers


def test_paddocks_outlets_and_pipes_name_their_parcels(plan: Plan) -> None:
    paddocks = plan.holding.paddocks.assign(parcel=["SD 1", "SD 2", "", "SD 4"])
    named = replace(plan, holding=replace(plan.holding, paddocks=paddocks))
    features = json.loads(geojson_text(plan_layers(named)))["features"]
    kinds = ("paddock", "outlet", "pipe")
    own = [f["properties"] for f in features if f["properties"]["kind"] in kinds]
    rows = {row["name"]: row for row in own}
    assert [rows[name]["parcel"] for name in paddocks["name"]] == ["SD 1", "SD 2", None, "SD 4"]
    # Where four paddocks meet, and inside one without an identifier.
    assert rows["outlet 3"]["parcels"] == ["SD 1", "SD 2", "SD 4"]
    assert rows["outlet 2"]["parcels"] == []
    # Along the fence of the first two, then over the first alone.
    assert rows["pipe 5"]["parcels"] == ["SD 1", "SD 2"]
    assert rows["pipe 3"]["parcels"] == []


def test_without_a_parcel_field_there_are_none(plan: Plan) -> None:
    layers = plan_layers(plan)
    assert layers["paddock"]["parcel"].isna().all()
    assert set(layers["outlet"]["parcels"]) == set(layers["pipe"]["parcels"]) == {()}
