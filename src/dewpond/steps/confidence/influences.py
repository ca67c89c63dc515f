"""What matters most: the least spare head with one figure changed at a time, pipes as planned."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from dewpond.base.friction import minor_loss_m
from dewpond.base.model import Flows, Intake, Network, Sizes, Watering
from dewpond.base.pipes.rules import friction_law
from dewpond.base.settings import ConfidenceSettings, PipeSettings
from dewpond.base.surface import FloatArray
from dewpond.base.units import l_min_from_m3_s, m3_s_from_l_min
from dewpond.base.words import words
from dewpond.steps.confidence.field import IntArray

_COLUMNS = ["factor", "low", "high", "figure_low", "figure_high", "base"]
_NO_FLOW_M3_S = 1e-9  # rounding of flows that should cancel


@dataclass(frozen=True)
class Change:
    """What is otherwise than planned: factors, and metres at the source."""

    demand: float = 1.0
    source_flow: float = 1.0
    friction: float = 1.0
    source_m: float = 0.0


@dataclass(frozen=True, eq=False)
class Loaded:
    """A sized tree under its load cases, ready to be worked out again.

    Attributes
    ----------
    parent : array of int, shape (pipes,)
    length_m, bore_m : array of float, shape (pipes,)
    flow_m3_s : array of float, shape (cases, pipes)
    used : array of bool, shape (cases, outlets)
    outlet_pipe : array of int, shape (outlets,)
        -1 for an outlet at the source.
    ground_m, needed_m : array of float, shape (outlets,)
    breaks : mapping of int to (tuple of float, tuple of float)
        By pipe, shares of it at which a break sets the level, ascending, and the levels.
    intake : Intake
    pipe : PipeSettings
    """

    parent: IntArray
    length_m: FloatArray
    bore_m: FloatArray
    flow_m3_s: FloatArray
    used: npt.NDArray[np.bool_]
    outlet_pipe: IntArray
    ground_m: FloatArray
    needed_m: FloatArray
    breaks: dict[int, tuple[tuple[float, ...], tuple[float, ...]]]
    intake: Intake
    pipe: PipeSettings


def make_loaded(
    network: Network,
    watering: Watering,
    flows: Flows,
    intake: Intake,
    sizes: Sizes,
    ground_m: FloatArray,
    pipe: PipeSettings,
) -> Loaded:
    """Gather a sized scheme; `ground_m` is that of its outlets, in the order of the sizes."""
    pipes = network.pipes
    outlets = sizes.outlets.index
    ends = {str(node): position for position, node in enumerate(pipes["to_node"])}
    flow = m3_s_from_l_min(flows.cases[list(pipes.index)].to_numpy(dtype=float))
    arrives = np.array([ends.get(str(name), -1) for name in outlets], dtype=np.intp)
    leaves = pipes["from_node"].to_numpy()[:, None] == outlets.to_numpy()[None, :]
    length = pipes["length_m"].to_numpy(dtype=float)
    drawn = (flow[:, arrives] if len(pipes) else np.zeros((len(flow), 0))) - flow @ leaves
    return Loaded(
        np.array([ends.get(str(node), -1) for node in pipes["from_node"]], dtype=np.intp),
        length,
        sizes.pipes.loc[pipes.index, "inside_diameter_mm"].to_numpy(dtype=float) / 1000.0,
        flow,
        (drawn > _NO_FLOW_M3_S) | (arrives < 0),
        arrives,
        ground_m,
        watering.outlets.loc[outlets, "valve_head_m"].to_numpy(dtype=float),
        _breaks(network, sizes.breaks, length),
        intake,
        pipe,
    )


def spare_heads_m(loaded: Loaded, change: Change) -> FloatArray:
    """Return residual less needed head at each outlet in its worst case, something changed [m].

    Flow follows demand, the head that a float valve needs the square of it. A main of which less
    is left stands, at a flow, where the main as reckoned stands at so much more.
    """
    flow = loaded.flow_m3_s * change.demand
    lost = change.friction * _losses(loaded, flow)
    drawn = l_min_from_m3_s(flow[:, loaded.parent < 0].sum(axis=1))
    level = loaded.intake.level_at_m(drawn / change.source_flow) + change.source_m
    end = np.empty_like(lost)
    for number, above in enumerate(loaded.parent.tolist()):
        begin = level if above < 0 else end[:, above]
        done = 0.0
        for share, held in zip(*loaded.breaks.get(number, ((), ())), strict=True):
            begin = np.minimum(begin - lost[:, number] * (share - done), held)
            done = share
        end[:, number] = begin - lost[:, number] * (1.0 - done)
    at_source = loaded.outlet_pipe < 0
    arrived = np.where(
        at_source, level[:, None], end[:, np.where(at_source, 0, loaded.outlet_pipe)]
    )
    # An outlet that no mob uses still has a head to speak of.
    used = np.where(loaded.used.any(axis=0), loaded.used, True)
    lowest = np.where(used, arrived, np.inf).min(axis=0, initial=np.inf)
    return np.asarray(lowest - loaded.ground_m - loaded.needed_m * change.demand**2)


def influence_table(
    loaded: Loaded,
    least_heights_m: tuple[float, float],
    outlets: npt.NDArray[np.bool_],
    settings: ConfidenceSettings,
    dry_summer_factor: float,
) -> pd.DataFrame:
    """Return the least spare head with each figure low and high, greatest swing first.

    Parameters
    ----------
    loaded : Loaded
    least_heights_m : (float, float)
        Least spare head, 5 and 95 % of the simulations.
    outlets : array of bool, shape (outlets,)
        Those that the least is over; the table is empty where there is none.
    settings : ConfidenceSettings
        Ranges.
    dry_summer_factor : float
        Share of a main's flow that the intake was worked out with.
    """
    if not outlets.any():
        return pd.DataFrame(columns=_COLUMNS)
    rows: list[tuple[str, str, str, float, float]] = [(
        "heights", words("confidence.heights.low"), words("confidence.heights.high"),
        *least_heights_m,
    )]  # fmt: skip
    for factor, ends, changes in _tried(loaded.intake, settings, dry_summer_factor):
        key = factor.replace(" ", "_")
        low, high = (words(f"confidence.{key}", value=value) for value in ends)
        least = [float(spare_heads_m(loaded, change)[outlets].min()) for change in changes]
        rows.append((factor, low, high, least[0], least[1]))
    table = pd.DataFrame(rows, columns=_COLUMNS[:-1])
    table["base"] = float(spare_heads_m(loaded, Change())[outlets].min())
    swing = (table["figure_high"] - table["figure_low"]).abs()
    order = swing.sort_values(ascending=False, kind="stable").index
    return table.loc[order].reset_index(drop=True)


def _tried(
    intake: Intake, settings: ConfidenceSettings, dry_summer_factor: float
) -> list[tuple[str, tuple[float, float], tuple[Change, Change]]]:
    """Return each factor with its two ends, and what they change."""
    level, hot = settings.source_level_changes_m, settings.hot_day_factors
    head, friction = settings.head_count_factors, settings.friction_factors
    found = [
        ("source level", level, (Change(source_m=level[0]), Change(source_m=level[1]))),
        ("hot day", hot, (Change(demand=hot[0]), Change(demand=hot[1]))),
        ("head of stock", head, (Change(demand=head[0]), Change(demand=head[1]))),
        ("friction", friction, (Change(friction=friction[0]), Change(friction=friction[1]))),
    ]
    # A tank stands at its level whatever is drawn: its yield is judged by volume, not by head.
    if intake.level_m[-1] < intake.level_m[0] and not intake.pumped:
        dry = settings.dry_summer_factors
        less, more = (Change(source_flow=share / dry_summer_factor) for share in dry)
        found.append(("source flow", dry, (less, more)))
    return found


def _losses(loaded: Loaded, flow_m3_s: FloatArray) -> FloatArray:
    """Return head lost in each pipe, shape (cases, pipes)."""
    law = friction_law(loaded.pipe)
    slope, _derivative = law.loss_and_slope_per_metre(flow_m3_s, loaded.bore_m)
    fittings = minor_loss_m(loaded.pipe.fittings_loss, flow_m3_s, loaded.bore_m)
    return np.asarray(slope * loaded.length_m + fittings)


def _breaks(
    network: Network, breaks: pd.DataFrame, length_m: FloatArray
) -> dict[int, tuple[tuple[float, ...], tuple[float, ...]]]:
    position = {str(name): number for number, name in enumerate(network.pipes.index)}
    found: dict[int, tuple[tuple[float, ...], tuple[float, ...]]] = {}
    for _, row in breaks.sort_values("distance_m").iterrows():
        pipe = position[str(row["pipe"])]
        shares, levels = found.get(pipe, ((), ()))
        share = min(float(row["distance_m"]) / float(length_m[pipe]), 1.0)
        found[pipe] = ((*shares, share), (*levels, float(row["level_m"])))
    return found
