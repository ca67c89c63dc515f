"""Tables of a choice: pipes, outlets, breaks and long sections."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from dewpond.base.friction import minor_loss_m, velocity_m_s
from dewpond.base.model import Flows, Heads, Network
from dewpond.base.pipesizing import PressureBreak
from dewpond.base.settings import PipeSettings
from dewpond.base.surface import FloatArray
from dewpond.base.units import m3_s_from_l_min
from dewpond.base.words import words
from dewpond.steps.sizing.choose import Choice
from dewpond.steps.sizing.offer import Offer
from dewpond.steps.sizing.scheme import IntArray, Scheme
from dewpond.steps.sizing.stretches import Stretches

_NUMBERS = (
    "outside_diameter_mm", "inside_diameter_mm", "sdr", "pressure_class_bar", "working_head_m",
    "design_flow_l_min", "velocity_m_s", "friction_loss_m", "lowest_residual_head_m",
    "price_per_m", "pipe_cost",
)  # fmt: skip


def pipe_table(
    scheme: Scheme, choice: Choice, offer: Offer, flows: Flows, pipe: PipeSettings
) -> pd.DataFrame:
    """Return the chosen pipe and what flows in it, NaN throughout where nothing fits."""
    if choice.sizing.option is None:
        return no_pipe(scheme)
    index = pd.Index(scheme.pipes, dtype=object)
    option = _option_of_pipes(scheme, choice)
    design = flows.pipes.loc[index, "design_flow_l_min"].to_numpy(dtype=float)
    bore, flow = offer.options.bore_m[option], m3_s_from_l_min(design)
    loss, _slope = offer.rules.friction.loss_and_slope_per_metre(flow, bore)
    lowest = [float((grade - ground).min()) for grade, ground in zip(
        lowest_grades(scheme, choice, offer), scheme.ground_m, strict=True)]  # fmt: skip
    sizes = [offer.sizes[number] for number in option]
    laid_m = np.bincount(
        choice.stretches.pipe, _priced_lengths(choice.stretches), minlength=len(index)
    )
    columns = (
        [size.outside_diameter_mm for size in sizes],
        [size.bore_mm for size in sizes],
        [size.sdr for size in sizes],
        [size.pressure_class_bar for size in sizes],
        offer.options.working_head_m[option],
        design,
        velocity_m_s(flow, bore),
        loss * scheme.length_m + minor_loss_m(pipe.fittings_loss, flow, bore),
        lowest,
        offer.options.price_per_m[option],
        offer.options.price_per_m[option] * laid_m,
    )
    table = {name: np.asarray(column) for name, column in zip(_NUMBERS, columns, strict=True)}
    found = pd.DataFrame({"material": [size.material for size in sizes], **table}, index)
    found.loc[~scheme.laid] = np.nan
    return found


def no_pipe(scheme: Scheme) -> pd.DataFrame:
    """Return the table of pipes with NaN throughout."""
    index = pd.Index(scheme.pipes, dtype=object)
    empty = dict.fromkeys(_NUMBERS, np.full(len(index), np.nan))
    return pd.DataFrame({"material": pd.Series(np.nan, index, dtype=object), **empty}, index)


def outlet_table(scheme: Scheme, choice: Choice, full: Scheme, failed: Choice) -> pd.DataFrame:
    """Return head at each outlet in its worst case, with the pipe that is chosen.

    Outlets that it does not reach have the head that the best pipe everywhere would give them,
    by the scheme before they were let go; those that no class serves have none.
    """
    head_m = np.where(
        scheme.reached, _outlet_heads_m(scheme, choice), _outlet_heads_m(full, failed)
    )
    head_m = np.where(scheme.pressed, np.nan, head_m)
    return pd.DataFrame(
        {"residual_head_m": head_m, "needed_head_m": scheme.valve_head_m},
        index=pd.Index(scheme.outlets, dtype=object),
    )


def _outlet_heads_m(scheme: Scheme, choice: Choice) -> FloatArray:
    """Return head (outlets,) in the worst case, best pipe everywhere where nothing fits."""
    head = np.full((len(scheme.flow_m3_s), len(scheme.outlets)), np.nan)
    asked = choice.stretches.check_outlet
    at = np.flatnonzero(asked >= 0)
    head[:, asked[at]] = choice.sizing.head_m[:, at]
    by_source = scheme.outlet_pipe < 0
    head[:, by_source] = scheme.source_level_m[:, None]
    # An outlet that no mob uses still has a head to speak of.
    used = np.where(scheme.used.any(axis=0), scheme.used, True)
    lowest = np.where(used, head, np.inf).min(axis=0, initial=np.inf)
    return np.asarray(lowest - scheme.outlet_ground_m)


def break_table(network: Network, heads: Heads, breaks: Sequence[PressureBreak]) -> pd.DataFrame:
    """Return break tanks and reducing valves with their places on the map."""
    rows, names = [], []
    count = {"break tank": 0, "reducing valve": 0}
    for item in breaks:
        pipe = str(network.pipes.index[item.pipe])
        section = heads.sections[pipe]
        count[item.kind] += 1
        names.append(f"{item.kind} {count[item.kind]}")
        rows.append({
            "pipe": pipe,
            "kind": item.kind,
            "distance_m": float(section.distance_m[item.position] - section.distance_m[0]),
            "level_m": item.level_m,
            "easting_m": float(section.easting_m[item.position]),
            "northing_m": float(section.northing_m[item.position]),
            "reason": words(
                "sizing.results.break_purpose", excess_m=item.excess_m,
                level_before_m=item.level_before_m, level_m=item.level_m,
            ),
        })  # fmt: skip
    columns = ["pipe", "kind", "distance_m", "level_m", "easting_m", "northing_m", "reason"]
    return pd.DataFrame(rows, index=pd.Index(names, dtype=object), columns=columns)


def long_sections(
    scheme: Scheme, choice: Choice, offer: Offer, heads: Heads
) -> dict[str, pd.DataFrame]:
    """Return ground, still water, lowest grade and class limit along each pipe."""
    fits = choice.sizing.option is not None
    parts = choice.stretches
    grades = part_grades(scheme, choice, offer) if fits else None
    if grades is not None:  # pipe that is not laid has no grade
        grades = [
            np.where(scheme.laid[pipe], grade, np.nan)
            for pipe, grade in zip(parts.pipe.tolist(), grades, strict=True)
        ]
    found: dict[str, list[pd.DataFrame]] = {name: [] for name in scheme.pipes}
    for number, pipe in enumerate(parts.pipe.tolist()):
        points = slice(int(parts.first[number]), int(parts.last[number]) + 1)
        ground = scheme.ground_m[pipe][points]
        section = heads.sections[scheme.pipes[pipe]]
        strength = np.nan
        if choice.sizing.option is not None and scheme.laid[pipe]:
            strength = offer.options.working_head_m[choice.sizing.option[number]]
        found[scheme.pipes[pipe]].append(pd.DataFrame({
            "distance_m": section.distance_m[points],
            "ground_level_m": ground,
            "static_level_m": np.full(len(ground), parts.still_level_m[number]),
            "grade_level_m": np.full(len(ground), np.nan) if grades is None else grades[number],
            "class_limit_level_m": ground + strength,
        }))  # fmt: skip
    return {name: pd.concat(tables, ignore_index=True) for name, tables in found.items() if tables}


def lowest_grades(scheme: Scheme, choice: Choice, offer: Offer) -> list[FloatArray]:
    """Return the lowest hydraulic grade at each point of each pipe in any case [m]."""
    parts, lowest = choice.stretches, [np.full(len(g), np.inf) for g in scheme.ground_m]
    for number, grade in enumerate(part_grades(scheme, choice, offer)):
        points = slice(int(parts.first[number]), int(parts.last[number]) + 1)
        here = lowest[int(parts.pipe[number])]
        here[points] = np.minimum(here[points], grade)
    return lowest


def part_grades(scheme: Scheme, choice: Choice, offer: Offer) -> list[FloatArray]:
    """Return the lowest grade in any case at each point of each stretch, shapes (points,)."""
    tree, parts = choice.stretches.tree, choice.stretches
    loss = _losses(choice, offer)
    begin = np.array(tree.start_level_m)
    grades = []
    asking = scheme.asking if scheme.asking.any() else np.ones(len(begin), dtype=bool)
    for number, parent in enumerate(tree.parent.tolist()):
        if np.isnan(begin[:, number]).any():
            begin[:, number] = begin[:, parent] - loss[:, parent]
        distance = scheme.distance_m[int(parts.pipe[number])]
        distance = distance[parts.first[number] : parts.last[number] + 1]
        way = (distance - distance[0]) / (distance[-1] - distance[0])
        level = begin[asking, number, None] - loss[asking, number, None] * way
        grades.append(level.min(axis=0))
    return grades


def _losses(choice: Choice, offer: Offer) -> FloatArray:
    """Return head lost (cases, stretches) in the pipe chosen."""
    tree = choice.stretches.tree
    bore = offer.options.bore_m[choice.sizing.option]
    slope, _derivative = offer.rules.friction.loss_and_slope_per_metre(tree.flow_m3_s, bore)
    return np.asarray(slope * tree.length_m + minor_loss_m(tree.minor_loss, tree.flow_m3_s, bore))


def _option_of_pipes(scheme: Scheme, choice: Choice) -> IntArray:
    """Return the option of each pipe: that of its last stretch."""
    option = np.zeros(len(scheme.pipes), dtype=np.intp)
    if choice.sizing.option is not None:
        option[choice.stretches.pipe] = choice.sizing.option
    return option


def _priced_lengths(stretches: Stretches) -> FloatArray:
    priced = stretches.tree.priced_length_m
    return stretches.tree.length_m if priced is None else priced
