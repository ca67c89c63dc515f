"""Where to level: the closed form against simulated surveys, naive choices and every choice."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm

from dewpond.base.heighterror import HeightError
from dewpond.steps.confidence.risks import Risks, find_risks, normal_chances
from dewpond.steps.confidence.survey import (
    Ties,
    candidate_spots,
    choose_spots,
    expected_doubts,
    make_ties,
)
from steps.confidence.sure_ground import (
    assess,
    hill_scheme,
    line_and_field,
    project,
    with_spare,
)

ERRORS = {
    "short": HeightError(1.5, 120.0, 10_000.0, 0.05),
    "long": HeightError(2.4, 120.0, 50_000.0, 0.875),
    "one range": HeightError(1.5, 500.0, 10_000.0, 0.0),
}


def ties_of(random_state, error, outlets=6, survey_deviation_m=0.05):
    """Return a scheme's spots and how they bear on outlets with heads near their need."""
    scheme, settings = hill_scheme(outlets, random_state=random_state), project()
    sizes = with_spare(scheme, settings, 0.0)
    random = np.random.default_rng(random_state)
    heads = sizes.outlets
    sizes.outlets["residual_head_m"] = heads["needed_head_m"] + random.uniform(-0.5, 3, len(heads))
    places, line, field = line_and_field(scheme, settings, sizes, error=error)
    summits = [scheme.heads.sections[str(name)].summits for name in scheme.network.pipes.index]
    spots = candidate_spots(line, places.first, places.easting_m, places.northing_m, summits, 60.0)
    return places, spots, make_ties(find_risks(line, field), field, spots, survey_deviation_m)


def test_doubt_before_any_survey_is_the_chance_times_its_rest():
    _, _, ties = ties_of(1, ERRORS["short"])
    chance = normal_chances(ties.risks)
    assert expected_doubts(ties, []) == pytest.approx(chance * (1 - chance), abs=1e-12)


def test_square_of_the_chance_is_the_bivariate_normal_integral():
    # One outlet, one spot that explains a share r of its variance.
    for spare, share in ((0.3, 0.2), (-0.8, 0.7), (1.4, 0.95), (0.0, 0.5)):
        one = np.zeros(1, dtype=np.intp)
        risks = Risks(one, one, np.array([spare]), np.array([1.0]), ("head",))
        ties = Ties(risks, np.array([[1.0]]), np.array([[np.sqrt(share)]]), 0.0)
        both = multivariate_normal([0, 0], [[1, share], [share, 1]]).cdf([spare, spare])
        assert expected_doubts(ties, [0])[0] == pytest.approx(norm.cdf(spare) - both, abs=1e-5)


@pytest.mark.parametrize("name", sorted(ERRORS))
def test_expected_doubt_is_the_mean_over_surveys_that_might_be(name):
    _, spots, ties = ties_of(2, ERRORS[name])
    random = np.random.default_rng(3)
    chosen = random.choice(len(spots), 3, replace=False)
    # Draw levels at the spots, and work out the chance of each outlet given each draw.
    among = ties.among[np.ix_(chosen, chosen)] + 0.05**2 * np.eye(3)
    drawn = random.multivariate_normal(np.zeros(3), among, size=20_000)
    weights = np.linalg.solve(among, ties.shared[:, chosen].T).T
    left = ties.risks.deviation_m**2 - np.einsum("ok,ok->o", weights, ties.shared[:, chosen])
    spare = ties.risks.spare_m + drawn @ weights.T
    chance = norm.cdf(spare / np.sqrt(left))
    doubt = (chance * (1 - chance)).mean(axis=0)
    assert expected_doubts(ties, chosen) == pytest.approx(doubt, abs=0.005)


@pytest.mark.parametrize("name", sorted(ERRORS))
@pytest.mark.parametrize("random_state", range(6))
def test_the_first_spot_is_the_best_of_all_and_two_come_close(name, random_state):
    _, spots, ties = ties_of(random_state, ERRORS[name])
    chosen = [spot for spot, _, _ in choose_spots(ties, 2)]
    alone = [expected_doubts(ties, [spot]).sum() for spot in range(len(spots))]
    assert expected_doubts(ties, chosen[:1]).sum() == pytest.approx(min(alone), abs=1e-12)
    pairs = itertools.combinations(range(len(spots)), 2)
    best = min(expected_doubts(ties, pair).sum() for pair in pairs)
    before = expected_doubts(ties, []).sum()
    # At least nine tenths of what the best pair of all would settle.
    assert before - expected_doubts(ties, chosen).sum() >= 0.9 * (before - best)


@pytest.mark.parametrize("name", sorted(ERRORS))
def test_it_beats_naive_choices(name):
    totals = dict.fromkeys(("chosen", "nearest", "highest", "random", "even"), 0.0)
    for random_state in range(10):
        places, spots, ties = ties_of(random_state, ERRORS[name], outlets=8)
        chosen = [spot for spot, _, _ in choose_spots(ties, 3)]
        assert len(chosen) == 3
        from_source = np.hypot(
            places.easting_m[spots] - places.easting_m[0],
            places.northing_m[spots] - places.northing_m[0],
        )
        naive = {
            "nearest": np.argsort(from_source, kind="stable")[:3],
            "highest": np.argsort(-places.ground_m[spots], kind="stable")[:3],
            "random": np.random.default_rng(random_state).choice(len(spots), 3, replace=False),
            "even": np.argsort(from_source, kind="stable")[
                np.linspace(0, len(spots) - 1, 3).astype(int)
            ],
        }
        left = expected_doubts(ties, chosen).sum()
        before = expected_doubts(ties, []).sum()
        totals["chosen"] += left / before
        for kind, some in naive.items():
            doubt = expected_doubts(ties, some).sum()
            assert left <= doubt + 1e-9, (random_state, kind)
            totals[kind] += doubt / before
    assert all(totals["chosen"] < 9.5 / 10 * totals[k] for k in totals if k != "chosen")


def test_each_row_tells_what_was_worked_out_for_it():
    scheme, settings = hill_scheme(), project({"height_data": "radar surface 30 m"})
    found = assess(scheme, settings, with_spare(scheme, settings, 0.6)).survey
    assert 1 <= len(found) <= 5
    assert list(found.index) == list(range(1, len(found) + 1))
    assert (found["doubt_after"] < found["doubt_before"]).all()
    assert (found["doubt_after"].iloc[:-1].to_numpy() == found["doubt_before"].iloc[1:]).all()
    for row in found.itertuples():
        level = float(scheme.farm.surface.heights_m(row.easting_m, row.northing_m))
        assert row.level_m == pytest.approx(level, abs=1e-6)
        if row.name in scheme.network.nodes.index:
            point = scheme.network.nodes.geometry[row.name]
            assert (point.x, point.y) == pytest.approx((row.easting_m, row.northing_m))
        assert set(row.outlets) <= set(scheme.network.nodes.index)
    assert len(set(zip(found["easting_m"], found["northing_m"], strict=True))) == len(found)


def test_no_spot_is_listed_where_nothing_is_in_doubt_or_none_are_wanted():
    scheme = hill_scheme()
    safe, open_to_doubt = project({"height_standard_deviation_m": 0.01}), project(survey_points=0)
    assert assess(scheme, safe, with_spare(scheme, safe, 5.0)).survey.empty
    assert assess(scheme, open_to_doubt, with_spare(scheme, open_to_doubt, 0.1)).survey.empty


def test_levels_that_are_exact_settle_what_they_name():
    # Two levels, at the source and the outlet, leave nothing in doubt.
    one = np.zeros(2, dtype=np.intp)
    risks = Risks(one[:1], one[:1], np.array([0.2]), np.array([np.sqrt(2.0)]), ("head",))
    ties = Ties(risks, np.eye(2), np.array([[1.0, -1.0]]), 0.0)
    picks = choose_spots(ties, 2)
    assert sorted(spot for spot, _, _ in picks) == [0, 1]
    assert picks[-1][2].sum() == pytest.approx(0.0, abs=1e-7)
