"""Exact sizing of 200 pipes from 12 sizes, with its proof."""

from __future__ import annotations

import time

import numpy as np
import pytest

from base.pipesizing.sizing_examples import options_of, pe100, random_tree
from dewpond.base.pipesizing import PipeOptions, SizingRules, size_pipes

pytestmark = pytest.mark.benchmark
PIPES = 200


def twelve_widths() -> PipeOptions:
    """Twelve widths, none beaten by another: the eight of PE100 SDR 11 and four between them."""
    known = options_of(pe100(11.0))
    outside = np.sort(np.append(known.outside_diameter_m, [0.028, 0.036, 0.045, 0.056]))
    prices = np.interp(outside, known.outside_diameter_m, known.price_per_m)
    bores = np.interp(outside, known.outside_diameter_m, known.bore_m)
    same = np.ones_like(outside)
    return PipeOptions(outside, bores, 11.0 * same, prices, known.working_head_m[0] * same)


@pytest.mark.parametrize("cases", [1, 20, 60])
@pytest.mark.parametrize("gap", [0.0, 0.001])
def test_200_pipes_from_12_sizes(cases: int, gap: float) -> None:
    options, rules = twelve_widths(), SizingRules(gap=gap)
    print(f"\n{PIPES} pipes, 12 sizes, {cases} cases, gap asked {gap:.1%}:")
    for random_state in range(3):
        tree = random_tree(random_state, PIPES, cases, source_m=95.0)
        began = time.perf_counter()
        found = size_pipes(tree, options, rules)
        seconds = time.perf_counter() - began
        assert found.option is not None
        assert found.proof.gap <= max(gap, 1e-6)
        widths = np.unique(options.outside_diameter_m[found.option])
        print(
            f"  {seconds:6.2f} s, cost {found.proof.value:9.2f}, bound {found.proof.bound:9.2f}, "
            f"gap {found.proof.gap:.2e}, {len(widths)} widths in use"
        )
