"""How sure a scheme is, the heights and the figures it rests on being what they are."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from dewpond.base.model.water import Sizes
from dewpond.base.surface import FloatArray


@dataclass(frozen=True, eq=False)
class HeadMargins:
    """Height kept in hand against the error of the heights when pipe is sized.

    Attributes
    ----------
    outlets : mapping of str to float
        By outlet: head wanted besides what its float valve needs [m].
    clearance : mapping of str to array of float, shape (points,)
        By pipe, at each point of its ground section: least height of the grade over the ground
        [m]; it takes the place of the margin of the settings where it is the larger.
    rise : mapping of str to array of float, shape (points,)
        By pipe, at each point of its ground section: by how much still water may stand higher
        over the ground than reckoned [m].
    """

    outlets: Mapping[str, float]
    clearance: Mapping[str, FloatArray]
    rise: Mapping[str, FloatArray]


@dataclass(frozen=True, eq=False)
class Confidence:
    """How often a scheme works when its heights are as far out as such data are.

    Chances are shares of the simulations, 0 to 1.

    Attributes
    ----------
    outlets : DataFrame
        Row label = outlet node name, in the order of the network; columns ``chance_flow`` (that
        it has the head for its design flow), ``chance_pipe`` (that water passes every rise on
        the way to it, its grade line over the ground, and no pipe there is strained beyond its
        class, surge included), ``chance`` (both), ``spare_head_m`` (residual
        less needed head, best guess), ``spare_head_low_m`` and ``spare_head_high_m`` (5 and
        95 % of the simulations), ``spare_head_deviation_m`` (standard deviation), ``weakest``
        (what it is least likely to have: "head" of its own, to get over a "rise" on the way, the
        "class" of the pipe there; "none" where no pipe on offer leads to it).
    requirements : DataFrame
        Row label = requirement in words, those of the verdicts that heights, demand or supply
        bear on; columns ``chance`` (that it is met everywhere, the margin over the ground of the
        settings included) and ``met`` (best guess).
    chance_all : float
        That every outlet works.
    simulations : int
    assumed : mapping of str to (float or str)
        What was assumed of the heights: ``standard_deviation_m``, ``short_range_m``,
        ``long_range_m``, ``long_share`` (of the variance), ``steep_factor``, ``data_class``,
        ``source``, ``levels`` (how many surveyed levels it is held to), ``random_state``.
    bands : mapping of str to DataFrame
        By pipe name, one row for each point of its ground section: ``distance_m`` (from the
        source), ``low_m``, ``high_m`` (ground level against its water, 5 and 95 %: what is
        common to the ground there and at the source or break that sets the water level is left
        out, so that the band has no width at a source on the raster).
    survey : DataFrame
        Spots to level on site, best first, row labels 1 to n; columns ``name`` ("outlet 4",
        "source", "pipe 3 at 120 m"), ``easting_m``, ``northing_m``, ``level_m`` (best guess),
        ``deviation_m`` (of that level), ``doubt_before``, ``doubt_after`` (doubt left once this
        spot and those before it are known: sum over outlets of the chance times one less the
        chance, expected), ``outlets`` (tuple of names of the outlets it settles most).
    influences : DataFrame
        What matters most, greatest swing first, row labels 0 to n-1, over the outlets that the
        best guess serves (empty where it serves none); columns ``factor`` (key:
        "heights", "source level", "hot day", "head of stock", "source flow", "friction"),
        ``low``, ``high`` (values tried, in words), ``figure_low``, ``figure_high`` (least spare
        head over the outlets [m] with each), ``base`` (with none changed).
    design : mapping of str to (float or str)
        The same scheme sized so that each outlet works with the wanted chance: ``wanted``,
        ``feasible`` (1.0 or 0.0), ``least_chance`` (of the least sure outlet; where it cannot be
        had, in the safest design found), ``chance_all``, ``pipe_cost``, ``extra_cost`` (against
        the best guess; all three NaN where it cannot be had), ``reason`` (why it cannot),
        ``built`` (1.0 where the plan itself is sized so).
    design_pipes : DataFrame
        Row label = pipe name; columns ``outside_diameter_mm``, ``pressure_class_bar`` as planned,
        ``safe_outside_diameter_mm``, ``safe_pressure_class_bar`` for the wanted chance.
    warnings : tuple of str
    safer : Sizes or None
        Pipe of that design; None where it cannot be had or the plan has it already.
    """

    outlets: pd.DataFrame
    requirements: pd.DataFrame
    chance_all: float
    simulations: int
    assumed: Mapping[str, float | str]
    bands: Mapping[str, pd.DataFrame]
    survey: pd.DataFrame
    influences: pd.DataFrame
    design: Mapping[str, float | str]
    design_pipes: pd.DataFrame
    warnings: tuple[str, ...] = ()
    safer: Sizes | None = None
