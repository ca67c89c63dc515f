"""The frozen values that pass between steps; each field with its shape, unit and CRS.

Coordinates are easting then northing, in metres, in the working CRS of the holding. Tables are
GeoDataFrames or DataFrames that no step changes in place: a step makes a new one.
"""

from dewpond.base.model.breaks import Breaks
from dewpond.base.model.command import CommandArea, CommandCase, CommandGround
from dewpond.base.model.comparison import Change, Comparison, Outcome
from dewpond.base.model.confidence import Confidence, HeadMargins
from dewpond.base.model.costing import Costing
from dewpond.base.model.demand import Demand
from dewpond.base.model.ground import Candidates, CellGroups, Reach, Terrain
from dewpond.base.model.holding import Features, Holding, Mob, Source
from dewpond.base.model.layout import Corridors, Heads, Layout, Network, Proof, Section, Siting
from dewpond.base.model.plan import Appraisal, Plan, Scheme, Verdict, best_scheme
from dewpond.base.model.water import (
    Delivery,
    Flows,
    Intake,
    Isolation,
    Judgement,
    Remedy,
    Shortfall,
    Sizes,
    Supply,
    Watering,
)

__all__ = [
    "Appraisal",
    "Breaks",
    "Candidates",
    "CellGroups",
    "Change",
    "CommandArea",
    "CommandCase",
    "CommandGround",
    "Comparison",
    "Confidence",
    "Corridors",
    "Costing",
    "Delivery",
    "Demand",
    "Features",
    "Flows",
    "HeadMargins",
    "Heads",
    "Holding",
    "Intake",
    "Isolation",
    "Judgement",
    "Layout",
    "Mob",
    "Network",
    "Outcome",
    "Plan",
    "Proof",
    "Reach",
    "Remedy",
    "Scheme",
    "Section",
    "Shortfall",
    "Siting",
    "Sizes",
    "Source",
    "Supply",
    "Terrain",
    "Verdict",
    "Watering",
    "best_scheme",
]
