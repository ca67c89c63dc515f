"""Ground that gravity commands from a source, and places for a tank that would command it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pandas as pd

from dewpond.base.model.holding import Holding
from dewpond.base.pipes import PipeSize
from dewpond.base.settings import Project
from dewpond.base.surface import Grid

CHANCE_EDGES = (0.9, 0.5, 0.1)
"""Chances that part ground served surely, probably, perhaps, and not."""

SERVED_CLASSES = ("surely", "probably", "perhaps", "not")
"""Names of the classes that the edges part, most certain first."""


@dataclass(frozen=True)
class CommandCase:
    """What is asked: water from where, how much, at what head, through what pipe.

    Attributes
    ----------
    source, kind : str
        Name and kind of the source.
    easting_m, northing_m : float
        Where it stands, working CRS.
    level_m, still_level_m : float
        Level of its water at the flow asked for, and without flow [m].
    level_known : bool
        Whether the ground level at the source is given, not read from the raster.
    flow_l_min, head_m : float
        Wanted at the end of the pipe.
    pipe : PipeSize
    loss_per_m : float
        Friction in a metre of pipe at that flow [m/m].
    fittings_loss_m, velocity_m_s : float
        In that pipe at that flow.
    allowed_static_head_m : float
        Head of still water that its class carries, surge counted in [m].
    margin_m : float
        Head to keep over the ground on the way [m].
    length_factor : float
        Length of pipe for a metre of the straight way.
    enough : bool
        Whether the source gives that flow, as far as is known.
    reasons : mapping of str to str
        Where ``level``, ``flow``, ``head`` and ``pipe`` come from, each a sentence.
    """

    source: str
    kind: str
    easting_m: float
    northing_m: float
    level_m: float
    still_level_m: float
    level_known: bool
    flow_l_min: float
    head_m: float
    pipe: PipeSize
    loss_per_m: float
    fittings_loss_m: float
    velocity_m_s: float
    allowed_static_head_m: float
    margin_m: float
    length_factor: float
    enough: bool
    reasons: Mapping[str, str]


@dataclass(frozen=True, eq=False)
class CommandGround:
    """Head and chance at every cell, by paddock, and places for a tank.

    Attributes
    ----------
    case : CommandCase
    ground_level_m : Grid
        Heights that all rests on [m], surveyed levels counted in.
    residual_head_m : Grid
        Head over the ground left at each cell at the flow asked for [m]; all grids share one
        frame, NaN where ground is not known there or on the way.
    spare_m : Grid
        Least head to spare: at the cell over the head wanted, on the way over the margin [m].
        Zero or more is served.
    chance : Grid
        Chance that it is served, 0 to 1, the heights being what they are.
    highest_static_head_m : Grid
        Head of still water over the lowest ground on the way [m].
    pipe_length_m : Grid
        Length of pipe from the source [m].
    paddocks : DataFrame
        Row label = paddock id, all paddocks; columns ``name``, ``chosen``, ``area_ha``,
        ``commanded_share`` (of its ground, best guess), ``surely_share``, ``probably_share``,
        ``perhaps_share``, ``not_share``, ``unknown_share`` (ground without a height there or on
        the way), ``over_class_share`` (where a hollow on the way has more head than the class
        carries), ``lowest_residual_head_m``, ``highest_residual_head_m``, ``spare_m`` and
        ``chance`` (what the share wanted of its ground has at least), ``commanded`` (that share
        is served).
    tanks : DataFrame
        Places for a tank, row labels 1 to n: those of which none is both higher and farther than
        another, lowest first, then the lowest at least 100 m away from them to be had instead;
        columns ``name``, ``easting_m``,
        ``northing_m``, ``paddock`` (name, or empty), ``ground_level_m``, ``water_level_m``,
        ``pipe_m`` (shortest tree that joins it to a point in each chosen paddock),
        ``farthest_m`` (pipe to the farthest ground), ``spare_m`` and ``chance`` (what the
        share wanted of the paddock served worst has at least), ``highest_static_head_m``,
        ``over_class``, ``lowest``, ``nearest``, ``instead``.
    assumed : mapping of str to (float or str)
        What was assumed of the heights, as `Confidence.assumed` names it.
    warnings : tuple of str
    """

    case: CommandCase
    ground_level_m: Grid
    residual_head_m: Grid
    spare_m: Grid
    chance: Grid
    highest_static_head_m: Grid
    pipe_length_m: Grid
    paddocks: pd.DataFrame
    tanks: pd.DataFrame
    assumed: Mapping[str, float | str] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()

    @property
    def met(self) -> bool:
        """Whether every chosen paddock is commanded, with a flow that is there."""
        chosen = self.paddocks[self.paddocks["chosen"]]
        return bool(self.case.enough and chosen["commanded"].all())

    def served_class(self) -> npt.NDArray[np.int8]:
        """Return the class of each cell, a position in `SERVED_CLASSES`; -1 not known."""
        chance = self.chance.values
        found = np.digitize(-chance, [-edge for edge in CHANCE_EDGES], right=True)
        found = np.where(np.isnan(chance), -1, found)
        return np.asarray(found, dtype=np.int8)

    def over_class(self) -> npt.NDArray[np.bool_]:
        """Return the cells with a hollow on the way that has more head than the class carries."""
        with np.errstate(invalid="ignore"):
            return np.asarray(
                self.highest_static_head_m.values > self.case.allowed_static_head_m, dtype=bool
            )


@dataclass(frozen=True, eq=False)
class CommandArea:
    """A whole run: the project, what was read of it, and what gravity commands there.

    Attributes
    ----------
    project : Project
    holding : Holding
    ground : CommandGround
    versions : mapping of str to str
        Of Python and the libraries that can change a figure.
    """

    project: Project
    holding: Holding
    ground: CommandGround
    versions: Mapping[str, str] = field(default_factory=dict)

    @property
    def met(self) -> bool:
        """Whether every chosen paddock is commanded."""
        return self.ground.met

    @property
    def warnings(self) -> tuple[str, ...]:
        """What the reader should know, of the data and of the command area."""
        return (*self.holding.warnings, *self.ground.warnings)
