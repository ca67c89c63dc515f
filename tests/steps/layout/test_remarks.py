"""What a layout says of its own proof."""

from __future__ import annotations

import numpy as np
import pytest

from dewpond.base.jointdesign import JointDesign
from dewpond.base.model import Proof
from dewpond.base.settings import LayoutSettings
from dewpond.steps.layout.remarks import about_gap

NONE = np.empty(0, dtype=np.int64)


def remarks(cost, bound, status, price, price_bound, *, reproducible=True):
    chosen = JointDesign(
        NONE, NONE, NONE, cost, bound, status, 1, 1, 1.0, reproducible, NONE, NONE, NONE
    )
    proof = Proof(price, price_bound, 1.0, status)
    return list(about_gap(proof, chosen, LayoutSettings(optimality_gap=0.01), "spring"))


def test_a_proof_as_good_as_asked_needs_no_word():
    assert remarks(1000.0, 990.0, "within gap", 1000.0, 990.0) == []
    assert remarks(1000.0, 1000.0, "optimal", 1000.0, 1000.0) == []


@pytest.mark.parametrize("status", ["round limit", "node limit"])
def test_a_limit_that_ended_the_search_is_named(status):
    (said,) = remarks(1000.0, 950.0, status, 1000.0, 950.0)
    assert f"stopped at its {status}" in said
    assert "5.0 % of its price" in said


def test_a_gap_that_only_the_price_exceeds_is_told_with_its_reason():
    # Leaning counts 1,200 on a price of 1,000: 1 % of 2,200 is 2.2 % of the price alone.
    (said,) = remarks(2200.0, 2178.0, "within gap", 1000.0, 978.0)
    assert "gap asked for (1 %)" in said
    assert "above still water" in said
    assert "2.2 % of its price" in said


def test_a_search_that_the_clock_ended_says_another_run_may_differ():
    (said,) = remarks(1000.0, 995.0, "time limit", 1000.0, 995.0, reproducible=False)
    assert "cut short after 120 s" in said
