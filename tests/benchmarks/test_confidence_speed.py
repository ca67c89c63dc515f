"""1,000 simulations of a scheme of 60 outlets, beside the same by drawing and by looping."""

from __future__ import annotations

import time

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from dewpond.base.heighterror import HeightError
from dewpond.steps.confidence.chances import outcomes
from steps.confidence.sure_ground import assess, hill_scheme, line_and_field, project, resizer

pytestmark = pytest.mark.benchmark
OUTLETS, DRAWS = 60, 1000
# The peer takes minutes for more places than this.
PEER_POINTS = 600


def timed(work):
    began = time.perf_counter()
    found = work()
    return found, time.perf_counter() - began


def one_by_one(line, errors):
    """Hold each draw against the scheme by itself, pipe after pipe, in plain Python."""
    works = np.empty((len(errors), len(line.outlets)), dtype=bool)
    rows = [np.flatnonzero(line.pipe == pipe).tolist() for pipe in range(len(line.parent))]
    for number, error in enumerate(errors):
        passes = []
        for pipe, above in enumerate(line.parent.tolist()):
            holds = above < 0 or passes[above]
            for row in rows[pipe]:
                gained = error[line.place[row]] - error[line.datum[row]]
                if gained < -line.over_m[row] - 0.001 or gained > line.strength_m[row] + 0.001:
                    holds = False
                    break
            passes.append(holds)
        for outlet in range(len(line.outlets)):
            gained = error[line.outlet_place[outlet]] - error[line.outlet_datum[outlet]]
            enough = line.spare_m[outlet] + gained >= -0.001
            works[number, outlet] = enough and passes[line.outlet_pipe[outlet]]
    return works


@pytest.mark.parametrize(("name", "spacing_m"), [("short pipes", 40.0), ("long pipes", 160.0)])
def test_1000_simulations_of_60_outlets(name: str, spacing_m: float) -> None:
    settings = project(
        {"height_standard_deviation_m": 1.0, "correlation_length_m": 120.0}, simulations=DRAWS
    )
    scheme = hill_scheme(outlets=OUTLETS, spacing_m=spacing_m)
    sizes, sizing_s = timed(resizer(scheme, settings))
    error = HeightError(1.0, 120.0, 10_000.0, 0.0)
    places, line, field = line_and_field(scheme, settings, sizes, error=error)
    points = len(places.ground_m)

    errors, draw_s = timed(lambda: field.draws_m(DRAWS, 1))
    found, judge_s = timed(lambda: outcomes(line, errors))
    _, whole_s = timed(lambda: assess(scheme, settings, sizes))

    every = np.arange(min(points, PEER_POINTS))
    covariance = field.covariance_m2(every, every) + 1e-9 * np.eye(len(every))
    peer = multivariate_normal(np.zeros(len(every)), covariance, allow_singular=True)
    _, peer_draw_s = timed(lambda: peer.rvs(DRAWS, random_state=1))
    slow, peer_judge_s = timed(lambda: one_by_one(line, errors))
    assert (slow == found.works).all()
    print(
        f"\n{OUTLETS} outlets, {name}, {points} ground points, {DRAWS} simulations:\n"
        f"  drawn in {draw_s:.2f} s (scipy.stats.multivariate_normal for {len(every)} of the "
        f"points, its covariance given, {peer_draw_s:.2f} s: {peer_draw_s / draw_s:.1f} times)\n"
        f"  judged in {judge_s:.2f} s (a loop over the simulations {peer_judge_s:.2f} s: "
        f"{peer_judge_s / judge_s:.1f} times)\n"
        f"  simulations in all {draw_s + judge_s:.2f} s; with survey list, influences and a "
        f"safer design {whole_s:.2f} s, of which one sizing takes {sizing_s:.2f} s"
    )
