"""Losses, speeds and headroom of every option in every pipe, and the paths that checks hang on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dewpond.base.friction import minor_loss_m, velocity_m_s
from dewpond.base.pipes import surge_m
from dewpond.base.pipesizing.model import BoolArray, IntArray, PipeOptions, PipeTree, SizingRules
from dewpond.base.surface import FloatArray

SMALL_HEAD_M = 1e-6
"""Head below which a requirement counts as met [m]."""


@dataclass(frozen=True, eq=False)
class Tables:
    """Everything the choice depends on, worked out once.

    Attributes
    ----------
    cost : array, shape (pipes, options)
    loss_m : array, shape (cases, pipes, options)
    speed_m_s : array, shape (pipes, options)
        Greatest over the cases.
    class_headroom_m : array, shape (pipes, options)
        Working head less static head and surge.
    strong, slow, allowed : array of bool, shape (pipes, options)
        Within class, within the velocity limit, both.
    weight : array, shape (checks, pipes)
        Share of each pipe's loss that counts on the way to each check, 0 to 1.
    room_m : array, shape (cases, checks)
        Start level less the level asked: head that may be lost on the way; inf where not asked.
    start_level_m : array, shape (cases, checks)
    """

    cost: FloatArray
    loss_m: FloatArray
    speed_m_s: FloatArray
    class_headroom_m: FloatArray
    strong: BoolArray
    slow: BoolArray
    allowed: BoolArray
    weight: FloatArray
    room_m: FloatArray
    start_level_m: FloatArray


def make_tables(tree: PipeTree, options: PipeOptions, rules: SizingRules) -> Tables:
    """Return the tables of a tree, its options and rules."""
    flow = tree.flow_m3_s[:, :, None]
    slope, _derivative = rules.friction.loss_and_slope_per_metre(flow, options.bore_m)
    loss = slope * tree.length_m[:, None] + minor_loss_m(
        tree.minor_loss[:, None], flow, options.bore_m
    )
    speed = velocity_m_s(tree.flow_m3_s.max(axis=0)[:, None], options.bore_m)
    surge = surge_m(speed, options.sdr) if rules.surge else 0.0
    headroom = options.working_head_m - tree.highest_static_head_m[:, None] - surge
    if tree.fixed_option is not None:
        other = np.arange(len(options.bore_m)) != tree.fixed_option[:, None]
        headroom = np.where(other & (tree.fixed_option >= 0)[:, None], -np.inf, headroom)
    strong = headroom >= -SMALL_HEAD_M
    slow = speed <= rules.velocity_limit_m_s * (1.0 + 1e-9)
    priced_m = tree.length_m if tree.priced_length_m is None else tree.priced_length_m
    weight, start = _paths(tree)
    return Tables(
        priced_m[:, None] * options.price_per_m,
        loss,
        speed,
        headroom,
        strong,
        slow,
        strong & slow,
        weight,
        start - tree.checks.level_m,
        start,
    )


def _paths(tree: PipeTree) -> tuple[FloatArray, FloatArray]:
    """Return weights (checks, pipes) and start levels (cases, checks), up to the nearest level."""
    pipes = len(tree.parent)
    starts = ~np.isnan(tree.start_level_m).any(axis=0)
    upstream = np.zeros((pipes, pipes))  # row: pipes whose whole loss is felt at its start
    head_of = np.arange(pipes)
    for pipe in np.flatnonzero(~starts):
        parent = tree.parent[pipe]
        upstream[pipe] = upstream[parent]
        upstream[pipe, parent] = 1.0
        head_of[pipe] = head_of[parent]
    weight = upstream[tree.checks.pipe]
    weight[np.arange(len(weight)), tree.checks.pipe] = tree.checks.fraction
    return weight, tree.start_level_m[:, head_of[tree.checks.pipe]]


def heads_at_checks(tables: Tables, option: IntArray) -> FloatArray:
    """Return the total head (cases, checks) under a choice of option for every pipe."""
    loss = np.take_along_axis(tables.loss_m, option[None, :, None], axis=2)[:, :, 0]
    return np.asarray(tables.start_level_m - loss @ tables.weight.T)


def pipes_fed_by(tree: PipeTree) -> IntArray:
    """Return the parent whose size bounds each pipe's, -1 where none does.

    Sizes need not keep order across a tank: a pipe after it is a scheme of its own.
    """
    starts = ~np.isnan(tree.start_level_m).any(axis=0)
    if tree.in_order is not None:
        starts |= ~tree.in_order
    return np.where(starts, -1, tree.parent)
