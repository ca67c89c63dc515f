"""Columns of the tables of many holdings: a published contract, the same in every format."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

Kind = Literal["text", "whole", "number", "yes or no"]

HOLDINGS: Mapping[str, Kind] = {
    "holding": "text",
    "name": "text",
    "status": "text",
    "reason": "text",
    "folder": "text",
    "fields": "whole",
    "grazed_area_ha": "number",
    "outlets": "whole",
    "pipe_m": "number",
    "cost": "number",
    "outlet_cost": "number",
    "laying_cost": "number",
    "pipe_cost": "number",
    "currency": "text",
    "net": "number",
    "gross": "number",
    "grant": "number",
    "to_pay": "number",
    "whole_life": "number",
    "worst_walk_m": "number",
    "mean_walk_m": "number",
    "covered_share": "number",
    "daily_demand_l": "number",
    "design_flow_l_min": "number",
    "requirements": "whole",
    "requirements_missed": "whole",
    "falls_short": "text",
    "source": "text",
    "source_kind": "text",
    "water_level_m": "number",
    "gap": "number",
    "search": "text",
    "sizing_gap": "number",
    "cut_by_clock": "yes or no",
    "fields_beyond_water": "whole",
    "fields_under_gravity": "whole",
    "warnings": "whole",
    "working_crs": "text",
}
FIELDS: Mapping[str, Kind] = {
    "holding": "text",
    "field": "text",
    "parcel": "text",
    "grazed": "yes or no",
    "area_ha": "number",
    "mobs": "text",
    "daily_demand_l": "number",
    "design_flow_l_min": "number",
    "covered_share": "number",
    "farthest_walk_m": "number",
    "mean_walk_m": "number",
    "within_walk": "yes or no",
    "lowest_ground_m": "number",
    "highest_ground_m": "number",
    "water_m": "number",
    "farthest_from_water_m": "number",
    "beyond_water_share": "number",
    "beyond_water_ha": "number",
    "beyond_water": "text",
    "gravity": "text",
    "gravity_source": "text",
    "gravity_head_m": "number",
}
VERDICTS: Mapping[str, Kind] = {
    "holding": "text",
    "requirement": "text",
    "figure": "number",
    "limit": "number",
    "unit": "text",
    "met": "yes or no",
    "where": "text",
    "remedy": "text",
}
TABLES: Mapping[str, Mapping[str, Kind]] = {
    "holdings": HOLDINGS,
    "fields": FIELDS,
    "verdicts": VERDICTS,
}
"""Columns of each table in their order, with what they hold."""

SHAPES: Mapping[str, str] = {"holdings": "Point", "fields": "MultiPolygon"}
"""Tables with a shape, in longitude and latitude, and of what kind it is."""
