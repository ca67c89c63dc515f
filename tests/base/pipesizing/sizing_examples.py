"""Random trees to size: three mobs, each in one place at a time, over hilly ground."""

from __future__ import annotations

import itertools

import numpy as np

from dewpond.base.friction import DarcyWeisbach, minor_loss_m, velocity_m_s
from dewpond.base.pipes import PipeSize, read_pipe_table, surge_m, working_head_m
from dewpond.base.pipesizing import Checks, PipeOptions, PipeTree, SizingRules, make_options

MOB_FLOWS_M3_S = np.array([0.15e-3, 0.25e-3, 0.35e-3])
LAW = DarcyWeisbach()


def pe100(sdr: float | None = None) -> list[PipeSize]:
    return [
        size
        for size in read_pipe_table()
        if size.material == "PE100" and (sdr is None or size.sdr == sdr)
    ]


def random_tree(
    random_state: int, pipes: int, cases: int, source_m: float = 75.0, longest_m: float = 400.0
) -> PipeTree:
    random = np.random.default_rng(random_state)
    parent = np.array([-1, *(int(random.integers(max(0, i - 3), i)) for i in range(1, pipes))])
    leaf = ~np.isin(np.arange(pipes), parent)
    outlets = np.flatnonzero(leaf | (random.random(pipes) < 0.3))
    ground = np.full(pipes, 50.0)
    for pipe in range(pipes):
        before = ground[parent[pipe]] if parent[pipe] >= 0 else 50.0
        ground[pipe] = before + random.uniform(-4.0, 3.0)
    flow = np.zeros((cases, pipes))
    asked = np.full((cases, len(outlets)), -np.inf)
    mob = random.integers(0, 3, len(outlets))
    for case, mob_number in itertools.product(range(cases), range(3)):
        places = np.flatnonzero(mob == mob_number)
        if not len(places):
            continue
        place = random.choice(places)
        asked[case, place] = ground[outlets[place]] + 5.0
        pipe = int(outlets[place])
        while pipe >= 0:
            flow[case, pipe] += MOB_FLOWS_M3_S[mob_number]
            pipe = int(parent[pipe])
    summits = random.choice(pipes, max(1, pipes // 5), replace=False)
    start = np.full((cases, pipes), np.nan)
    start[:, 0] = source_m
    checks = Checks(
        np.concatenate([outlets, summits]),
        np.concatenate([np.ones(len(outlets)), random.uniform(0.2, 0.8, len(summits))]),
        np.hstack([asked, np.tile(ground[summits] + 1.0, (cases, 1))]),
        ("outlet",) * len(outlets) + ("summit",) * len(summits),
    )
    return PipeTree(
        parent,
        random.uniform(0.1 * longest_m, longest_m, pipes),
        np.ones(pipes),
        np.maximum(source_m - ground, 0.0),
        flow,
        start,
        checks,
    )


def holds(
    tree: PipeTree,
    options: PipeOptions,
    rules: SizingRules,
    choice: np.ndarray,
    sizes: list[PipeSize],
) -> bool:
    """Whether a choice meets every requirement, worked out pipe by pipe, apart from the code."""
    for pipe, option in enumerate(choice):
        size = sizes[option]
        speed = float(velocity_m_s(tree.flow_m3_s[:, pipe].max(), size.bore_mm / 1000.0))
        surge = float(surge_m(speed, size.sdr)) if rules.surge else 0.0
        if speed > rules.velocity_limit_m_s * (1 + 1e-9):
            return False
        if tree.highest_static_head_m[pipe] + surge > working_head_m(size) + 1e-6:
            return False
        above = tree.parent[pipe]
        wider = above >= 0 and size.outside_diameter_mm > sizes[choice[above]].outside_diameter_mm
        if not rules.may_grow and wider and np.isnan(tree.start_level_m[0, pipe]):
            return False
    for case in range(len(tree.flow_m3_s)):
        for number, pipe in enumerate(tree.checks.pipe):
            head = head_at(
                tree, options, choice, case, int(pipe), float(tree.checks.fraction[number])
            )
            if head < tree.checks.level_m[case, number] - 1e-6:
                return False
    return True


def head_at(
    tree: PipeTree, options: PipeOptions, choice: np.ndarray, case: int, pipe: int, fraction: float
) -> float:
    """Total head along a pipe by walking up the tree."""
    bore = options.bore_m[choice[pipe]]
    flow = tree.flow_m3_s[case, pipe]
    slope, _ = LAW.loss_and_slope_per_metre(flow, bore)
    lost = float(slope) * tree.length_m[pipe] + float(
        minor_loss_m(tree.minor_loss[pipe], flow, bore)
    )
    level = tree.start_level_m[case, pipe]
    if np.isnan(level):
        level = head_at(tree, options, choice, case, int(tree.parent[pipe]), 1.0)
    return float(level) - fraction * lost


def options_of(sizes: list[PipeSize]) -> PipeOptions:
    return make_options(sizes)
