"""A scheme without pipe or without outlets is told of as such."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from steps.confidence.sure_ground import assess, project
from steps.schemes import make_watering, one_pipe


def test_no_outlet_and_no_pipe():
    scheme = one_pipe()
    network = replace(
        scheme.network, nodes=scheme.network.nodes.iloc[:1], pipes=scheme.network.pipes.iloc[:0]
    )
    heads = replace(
        scheme.heads, nodes=scheme.heads.nodes.iloc[:1], pipes=scheme.heads.pipes.iloc[:0],
        sections={},
    )  # fmt: skip
    flows = replace(
        scheme.flows, pipes=scheme.flows.pipes.iloc[:0],
        cases=scheme.flows.cases.iloc[:0, :2], total_l_min=0.0,
    )  # fmt: skip
    watering = make_watering(network, [])
    empty = replace(scheme, network=network, heads=heads, flows=flows, watering=watering)
    found = assess(empty, project())
    assert found.outlets.empty
    assert np.isnan(found.chance_all)
    assert found.survey.empty
    assert found.influences.empty
    assert found.bands == {}
    assert found.design["feasible"] == 0.0
    assert found.design["reason"] == "there is no outlet"
