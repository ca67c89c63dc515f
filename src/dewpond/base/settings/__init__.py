"""The project file as frozen values: one TOML table, one settings model.

Every field carries its unit in its name, a default, a description and the source of the
default; `dewpond template` and `dewpond schema` are made from them.
"""

from dewpond.base.settings.breaks import BreaksSettings
from dewpond.base.settings.command import CommandAreaSettings
from dewpond.base.settings.compare import WhatIfSettings
from dewpond.base.settings.confidence import ConfidenceSettings
from dewpond.base.settings.costing import CostingSettings, GrantSettings
from dewpond.base.settings.data import (
    FeaturesSettings,
    HoldingSettings,
    PaddocksSettings,
    TerrainSettings,
    VectorFile,
)
from dewpond.base.settings.design import (
    DemandSettings,
    DesignSettings,
    LayoutSettings,
    PricesSettings,
    RoutingSettings,
    SitingSettings,
    WalkingSettings,
)
from dewpond.base.settings.documents import DocumentsSettings
from dewpond.base.settings.project import (
    Project,
    load_project,
    project_from_dict,
    without_confidence,
)
from dewpond.base.settings.stock import MobSettings, PeriodSettings, SourceSettings
from dewpond.base.settings.water import (
    BucketSettings,
    PipeSettings,
    PumpSettings,
    SupplySettings,
    TroughSettings,
)

__all__ = [
    "BreaksSettings",
    "BucketSettings",
    "CommandAreaSettings",
    "ConfidenceSettings",
    "CostingSettings",
    "DemandSettings",
    "DesignSettings",
    "DocumentsSettings",
    "FeaturesSettings",
    "GrantSettings",
    "HoldingSettings",
    "LayoutSettings",
    "MobSettings",
    "PaddocksSettings",
    "PeriodSettings",
    "PipeSettings",
    "PricesSettings",
    "Project",
    "PumpSettings",
    "RoutingSettings",
    "SitingSettings",
    "SourceSettings",
    "SupplySettings",
    "TerrainSettings",
    "TroughSettings",
    "VectorFile",
    "WalkingSettings",
    "WhatIfSettings",
    "load_project",
    "project_from_dict",
    "without_confidence",
]
