"""What every sheet of a set is drawn from."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

from dewpond.base.measures import Measures
from dewpond.base.model import Plan
from dewpond.outputs.drawing.plan_sheet.division import Division, Layers
from dewpond.outputs.drawing.plan_sheet.page import Page
from dewpond.outputs.drawing.plan_sheet.paper import Paper


@dataclass(frozen=True, eq=False)
class Job:
    """A plan with all that its sheets have in common."""

    plan: Plan
    layers: Layers
    measures: Measures
    division: Division
    date: date

    @property
    def paper(self) -> Paper:
        """The paper of all sheets."""
        return self.division.paper


@dataclass(frozen=True)
class Draft:
    """A sheet before it is known how many there are: its title, its scale, and how it is drawn."""

    title: str
    scale: str
    draw: Callable[[Page], None]
