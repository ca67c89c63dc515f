"""Water that arrives: troughs, flows, sources under flow, pipe sizes, delivery and supply."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pandas as pd

from dewpond.base.model.layout import Proof
from dewpond.base.surface import FloatArray


@dataclass(frozen=True, eq=False)
class Watering:
    """How stock drink at each outlet: together or in ones and twos, from what trough, how fast.

    Attributes
    ----------
    uses : DataFrame
        One row for each mob, outlet and paddock that it drinks there, sorted by outlet, mob,
        paddock; columns ``mob`` (name), ``outlet`` (node name), ``paddock`` (id), ``trough``
        ("mobile", "fixed"), ``farthest_walk_m``, ``arrival`` ("ones and twos", "together"),
        ``rule`` (the rule that sets the flow, with its source), ``design_flow_l_min``
        (what must arrive), ``drinking_at_once`` (head), ``trough_volume_l`` (least).
    outlets : DataFrame
        Row label = outlet node name, in the order of the network; columns ``trough``,
        ``design_flow_l_min`` (the most demanding use), ``trough_volume_l``, ``troughs`` (linked),
        ``drinking_spaces``, ``head_per_trough``, ``refill_min`` (after tipping, at design flow),
        ``seat_bore_mm``, ``discharge_coefficient`` (float valve), ``valve_head_m`` (head the
        valve needs to pass the design flow), ``notes`` (tuple of sentences).
    warnings : tuple of str
    """

    uses: pd.DataFrame
    outlets: pd.DataFrame
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Flows:
    """Design flow of each pipe: what the mobs that could be drinking beyond it draw together.

    Attributes
    ----------
    pipes : DataFrame
        Row label = pipe name, in the order of the network; columns ``design_flow_l_min`` and
        ``mobs`` (tuple of names that could be beyond it). A mob drinks in one place at a time,
        so its share is that of its most demanding outlet beyond the pipe, once.
    cases : DataFrame
        One row for each mob and outlet: that mob there, every other mob at the place that shares
        the longest way with it; further rows where another mob draws more at a place that shares
        less of the way. Columns ``mob``, ``outlet``; then one column a pipe [L/min].
    total_l_min : float
        Design flow leaving the source.
    """

    pipes: pd.DataFrame
    cases: pd.DataFrame
    total_l_min: float


@dataclass(frozen=True, eq=False)
class Intake:
    """What the source of a scheme gives: water level against flow, and litres a day.

    Attributes
    ----------
    flow_l_min, level_m : arrays of float, shape (n,)
        Falling curve of total head at the source [m, datum of the elevation] against flow
        [L/min], n at least 2, flow ascending from 0; straight between its points.
    daily_volume_l : float
        Most it can give on the driest day; inf where nothing limits it.
    pumped : bool
        Whether the level is made by a pump.
    pump_head_m : float
        Head the pump adds at design flow [m]; NaN without one.
    reason : str
        How the curve was made, in a sentence.
    warnings : tuple of str
    """

    flow_l_min: FloatArray
    level_m: FloatArray
    daily_volume_l: float
    pumped: bool
    pump_head_m: float
    reason: str
    warnings: tuple[str, ...] = ()

    def level_at_m(self, flow_l_min: npt.ArrayLike) -> FloatArray:
        """Return the level of the source under a flow [m], past the end of the curve too.

        It goes on straight there: a source asked for more than was measured falls further.
        """
        flow = np.asarray(flow_l_min, float)
        last = slice(-2, None)
        (low, high), (before, end) = self.flow_l_min[last], self.level_m[last]
        beyond_m = (end - before) / (high - low) * np.maximum(flow - high, 0.0)
        return np.asarray(np.interp(flow, self.flow_l_min, self.level_m) + beyond_m)


@dataclass(frozen=True)
class Shortfall:
    """A requirement that the scheme misses, with what would mend it.

    Attributes
    ----------
    requirement, where : str
        What is missed, at which pipe or outlet.
    figure, limit : float
        What is had and what is needed.
    unit : str
    remedy : str
        What would mend it and by how much, in a sentence.
    """

    requirement: str
    where: str
    figure: float
    limit: float
    unit: str
    remedy: str


@dataclass(frozen=True, eq=False)
class Sizes:
    """Pipe chosen for each run, and the heads that follow.

    Attributes
    ----------
    pipes : DataFrame
        Row label = pipe name; columns ``material``, ``outside_diameter_mm``,
        ``inside_diameter_mm``, ``sdr``, ``pressure_class_bar``, ``working_head_m`` (what it may
        carry), ``design_flow_l_min``, ``velocity_m_s``, ``friction_loss_m``,
        ``lowest_residual_head_m`` (anywhere along it, in the worst case), ``price_per_m``,
        ``pipe_cost``. NaN for pipe that no class will do for, throughout where nothing fits;
        `shortfalls` says why.
    outlets : DataFrame
        Row label = outlet node name; columns ``residual_head_m`` (in the worst case),
        ``needed_head_m``.
    breaks : DataFrame
        Break tanks and reducing valves, row label = name; columns ``pipe``, ``kind``
        ("break tank", "reducing valve"), ``distance_m`` (along the pipe), ``level_m`` (of the
        water it sets), ``easting_m``, ``northing_m``, ``reason``.
    shortfalls : tuple of Shortfall
    proof : Proof
        In price of pipe; a break tank or reducing valve is not priced here.
    warnings : tuple of str
    grade : mapping of str to DataFrame
        Long section of each pipe, by name, one row for each point of its ground section; columns
        ``distance_m`` (from the source), ``ground_level_m``, ``static_level_m`` (no flow),
        ``grade_level_m`` (lowest hydraulic grade in any case, NaN where nothing fits),
        ``class_limit_level_m`` (ground plus what the pipe may carry). At a break the first of two
        points in one place is before it, the second after.
    """

    pipes: pd.DataFrame
    outlets: pd.DataFrame
    breaks: pd.DataFrame
    shortfalls: tuple[Shortfall, ...]
    proof: Proof
    warnings: tuple[str, ...] = ()
    grade: Mapping[str, pd.DataFrame] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Delivery:
    """What really flows when valves stand open, by solving the network.

    Attributes
    ----------
    outlets : DataFrame
        Row label = outlet node name; columns ``alone_l_min`` (only this one open),
        ``available_flow_l_min`` (in the worst combination of mobs), ``worst_with`` (tuple of the
        other outlets open then).
    warnings : tuple of str
    """

    outlets: pd.DataFrame
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Isolation:
    """Valves and points that let a section be shut, metered and drained.

    Attributes
    ----------
    fittings : DataFrame
        Row label = name ("stop valve 1", "meter 1", "drain 1"); columns ``kind`` ("stop valve",
        "meter", "drain"), ``pipe``, ``distance_m`` (along the pipe), ``easting_m``,
        ``northing_m``, ``ground_level_m``, ``reason``.
    sections : DataFrame
        Row label = stop valve name; columns ``outlets_shut`` (tuple of names),
        ``dry_share`` (share of the stock with no other water while it is shut).
    notes : tuple of str
        Frost and season of use, in sentences.
    """

    fittings: pd.DataFrame
    sections: pd.DataFrame
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Remedy:
    """One thing that would mend a source that falls short, and by how much.

    Attributes
    ----------
    action : str
        In a sentence an adviser would say.
    works : bool
        Whether it is enough by itself.
    figure : float
        The number in the action.
    unit : str
    mends : tuple of str
        Requirements that fail now and that it would meet, others or not, in their words.
    """

    action: str
    works: bool
    figure: float
    unit: str
    mends: tuple[str, ...] = ()


@dataclass(frozen=True)
class Judgement:
    """One requirement held against one source."""

    requirement: str
    figure: float
    limit: float
    unit: str
    met: bool
    reason: str = ""


@dataclass(frozen=True, eq=False)
class Supply:
    """Whether the source carries the scheme, what storage or pump it takes, and what would help.

    Attributes
    ----------
    judgements : tuple of Judgement
        Flow, head, volume a day and rules.
    remedies : tuple of Remedy
        Empty where every judgement is met.
    tank : mapping of str to float
        ``volume_l``, ``reserve_l``, ``balance_l`` (greatest shortage of the day), ``fill_l_min``;
        empty without a tank.
    pump : mapping of str to float
        ``flow_l_min``, ``head_m``, ``power_w``, ``suction_lift_m``, ``suction_limit_m``,
        ``panel_w``, ``storage_l``; empty without a pump.
    labour : mapping of str to float
        Bowser: ``trips_day``, ``hours_day``, ``head_1000_l``; else empty.
    cautions : tuple of str
        Rules that may apply; local code and licensed practice decide.
    warnings : tuple of str
    """

    judgements: tuple[Judgement, ...]
    remedies: tuple[Remedy, ...]
    tank: Mapping[str, float]
    pump: Mapping[str, float]
    labour: Mapping[str, float]
    cautions: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()

    @property
    def met(self) -> bool:
        """Whether the source meets everything asked of it."""
        return all(judgement.met for judgement in self.judgements)
