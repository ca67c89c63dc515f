"""Chances against the normal distribution, by laws, and against a loop over the draws."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm

from dewpond.base.heighterror import KnownLevels
from dewpond.base.pipes import surge_m
from dewpond.steps.confidence.chances import AT_REST, DELIVERED, OVER_GROUND, WITHIN_CLASS
from dewpond.steps.confidence.chances import outcomes as held_against
from dewpond.steps.confidence.line import SOURCE_PLACE
from steps.confidence.sure_ground import (
    assess,
    broken_scheme,
    hill_scheme,
    line_and_field,
    project,
    resizer,
    with_spare,
)
from steps.corridors.pipe_ground import SOUTH, WEST
from steps.schemes import one_pipe

LENGTH_M = 400.0
DRAWS = 20_000


def correlation(distance_m, short_m, long_m=10_000.0, share=0.0):
    """Two exponentials by practical range: exp(-3) = 5 % is left there."""
    return (1 - share) * np.exp(-3 * distance_m / short_m) + share * np.exp(
        -3 * distance_m / long_m
    )


def known_source(scheme, level_m, error_m=0.0):
    """Return the scheme with the ground at its source stated, and known to the heights."""
    source = scheme.farm.sources[0]
    stated = replace(source, settings=source.settings.model_copy(update={"level_m": level_m}))
    at = (np.array([source.easting_m]), np.array([source.northing_m]))
    known = KnownLevels(*at, np.array([error_m]), np.zeros(1))
    return replace(scheme, farm=replace(scheme.farm, sources=(stated,), known_levels=known))


def assert_within_simulation(share, chance, draws=DRAWS):
    # Four standard errors of a share: a false alarm once in 16 000.
    assert abs(share - chance) < 4 * np.sqrt(max(chance * (1 - chance), 1e-4) / draws)


@pytest.mark.parametrize("spare_m", [-1.0, 0.0, 0.7, 1.5])
@pytest.mark.parametrize("deviation_m", [0.4, 1.2])
@pytest.mark.parametrize("range_m", [50.0, 600.0])
def test_one_outlet_on_one_straight_pipe_is_normal(spare_m, deviation_m, range_m):
    settings = project(
        {"height_standard_deviation_m": deviation_m, "correlation_length_m": range_m},
        simulations=DRAWS,
    )
    scheme = one_pipe(length_m=LENGTH_M)
    found = assess(scheme, settings, with_spare(scheme, settings, spare_m)).outlets
    # var(z1 - z2) = 2 σ² (1 - ρ(d))
    of_head = deviation_m * np.sqrt(2 * (1 - correlation(LENGTH_M, range_m)))
    assert_within_simulation(found.at["outlet 1", "chance_flow"], norm.cdf(spare_m / of_head))
    assert found.at["outlet 1", "spare_head_deviation_m"] == pytest.approx(of_head, rel=0.03)
    low, high = found.loc["outlet 1", ["spare_head_low_m", "spare_head_high_m"]]
    assert low == pytest.approx(spare_m - 1.645 * of_head, abs=0.06 * deviation_m)
    assert high == pytest.approx(spare_m + 1.645 * of_head, abs=0.06 * deviation_m)


def test_error_common_to_source_and_outlet_does_no_harm():
    scheme = one_pipe(length_m=LENGTH_M)
    chances = []
    for share in (0.0, 0.5, 0.9, 0.99):
        settings = project({"height_long_share": share}, simulations=DRAWS)
        found = assess(scheme, settings, with_spare(scheme, settings, 0.8)).outlets
        of_head = np.sqrt(2 * (1 - correlation(LENGTH_M, 300.0, 10_000.0, share)))
        assert_within_simulation(found.at["outlet 1", "chance_flow"], norm.cdf(0.8 / of_head))
        chances.append(found.at["outlet 1", "chance_flow"])
    assert chances == sorted(chances)
    assert chances[-1] > chances[0] + 0.1


@pytest.mark.parametrize("error_m", [0.0, 0.9, -0.6])
def test_a_known_source_level_changes_the_chance_as_kriging_says(error_m):
    settings = project({"correlation_length_m": 900.0}, simulations=DRAWS)
    scheme = one_pipe(length_m=LENGTH_M)
    sizes = with_spare(scheme, settings, 0.5)
    found = assess(known_source(scheme, 0.0, error_m), settings, sizes).outlets
    # With the error e at the source known, that at the outlet is N(ρ e, σ² (1 - ρ²)); water at
    # a stated level gains over the ground by the outlet's error alone.
    same = correlation(LENGTH_M, 900.0)
    chance = norm.cdf((0.5 + same * error_m) / np.sqrt(1 - same**2))
    assert_within_simulation(found.at["outlet 1", "chance_flow"], chance)


def test_a_stated_level_without_its_tie_to_the_raster_leaves_the_whole_error():
    settings = project(simulations=DRAWS)
    scheme = known_source(one_pipe(length_m=LENGTH_M), 0.0)
    scheme = replace(scheme, farm=replace(scheme.farm, known_levels=None))
    found = assess(scheme, settings, with_spare(scheme, settings, 0.5)).outlets
    assert_within_simulation(found.at["outlet 1", "chance_flow"], norm.cdf(0.5))


def test_a_level_taken_at_the_outlet_and_the_source_settles_it():
    settings = project()
    scheme = one_pipe(length_m=LENGTH_M)
    sizes = with_spare(scheme, settings, 0.3)
    east, north = np.array([WEST, WEST + LENGTH_M]), np.array([SOUTH, SOUTH])
    for error_m, expected in ((0.2, 1.0), (-0.4, 0.0)):
        known = KnownLevels(east, north, np.array([0.0, error_m]), np.zeros(2))
        farm = replace(scheme.farm, known_levels=known)
        found = assess(replace(scheme, farm=farm), settings, sizes)
        assert found.outlets.at["outlet 1", "chance_flow"] == expected
        assert found.outlets.at["outlet 1", "spare_head_deviation_m"] < 1e-6
        assert found.survey.empty


def test_more_head_to_spare_is_never_a_smaller_chance():
    settings = project({"height_standard_deviation_m": 2.0}, simulations=500)
    scheme = hill_scheme()
    before = pd.Series(0.0, index=resizer(scheme, settings)().outlets.index)
    for spare_m in (-3.0, -1.0, 0.0, 0.5, 2.0, 6.0):
        chance = assess(scheme, settings, with_spare(scheme, settings, spare_m)).outlets
        assert (chance["chance_flow"] >= before).all()
        assert (chance["chance"] <= chance[["chance_flow", "chance_pipe"]].min(axis=1)).all()
        before = chance["chance_flow"]


def test_a_rise_on_the_way_is_met_with_the_chance_of_its_own_head():
    def rise(x, y):
        return 24.0 * np.exp(-(((x - 250.0) / 60.0) ** 2))

    settings = project({"height_standard_deviation_m": 1.0, "correlation_length_m": 100.0},
                       simulations=DRAWS)  # fmt: skip
    scheme = one_pipe(height=rise, length_m=500.0, head_m=30.0)
    sizes = resizer(scheme, settings)()
    found = assess(scheme, settings, sizes)
    grade = sizes.grade["pipe 1"]
    top = int((grade["grade_level_m"] - grade["ground_level_m"]).iloc[20:].idxmin())
    over_m = float((grade["grade_level_m"] - grade["ground_level_m"]).iloc[top])
    at_top = norm.cdf(over_m / np.sqrt(2 * (1 - correlation(250.0, 100.0))))
    # The top alone is the most the pipe can have; its neighbours take a little more away.
    chance = found.outlets.at["outlet 1", "chance_pipe"]
    assert at_top - 0.2 < chance < at_top + 0.01
    assert found.requirements.at[OVER_GROUND, "chance"] <= chance


def test_without_error_everything_is_as_the_best_guess_has_it():
    settings = project({"height_standard_deviation_m": 1e-6})
    found = assess(hill_scheme(), settings)
    assert (found.outlets["chance"] == 1.0).all()
    assert found.chance_all == 1.0
    assert found.requirements["met"].all()
    assert found.requirements["chance"].eq(1.0).all()
    assert found.design["extra_cost"] == pytest.approx(0.0, abs=1e-6)


def one_draw(scheme, sizes, errors):
    """Return what works under one draw of errors, worked out point by point from the tables."""
    network = scheme.network
    at = {str(network.nodes.index[0]): (errors["source"], True, True, True, True)}
    for name, pipe in network.pipes.iterrows():
        table, row = sizes.grade[name], sizes.pipes.loc[name]
        datum, passes, wet, kept, strong = at[pipe["from_node"]]
        section = scheme.heads.sections[name]
        first = pipe["from_node"] == network.nodes.index[0]
        begin_m = table["distance_m"].iloc[0]
        start_level = table["static_level_m"].iloc[0]
        for number in range(len(table)):
            point = table.iloc[number]
            again = number > 0 and point["distance_m"] == table["distance_m"].iloc[number - 1]
            index = int(np.searchsorted(section.distance_m, point["distance_m"]))
            here = errors[name][index]
            if again:
                datum, first, begin_m = here, True, point["distance_m"]
                start_level = point["static_level_m"]
            gained = here - datum
            head = point["grade_level_m"] - point["ground_level_m"] + gained
            level = point["ground_level_m"]
            before_break = number + 1 < len(table) and (
                table["distance_m"].iloc[number + 1] == point["distance_m"]
            )
            if before_break:  # one metre for the float valve of the tank
                inlet = sizes.breaks["level_m"].iloc[0] + 1.0
                passes_here = point["grade_level_m"] - inlet + gained >= -0.001
                passes, wet = passes and passes_here, wet and passes_here
            near = first and point["distance_m"] - begin_m <= 25.0
            if not (near and level <= start_level):
                passes, wet = passes and head >= -0.001, wet and head >= -0.001
            margin = 1.0 if not first else np.interp(point["distance_m"] - begin_m,
                                                     [25.0, 100.0], [0.0, 1.0])  # fmt: skip
            if not (near and level <= start_level + 1.0):
                kept = kept and head >= margin - 0.001
            surge = float(surge_m(row["velocity_m_s"], row["sdr"]))
            carried = point["static_level_m"] - point["ground_level_m"] + gained + surge
            within = carried <= row["working_head_m"] + 0.001
            passes, strong = passes and within, strong and within
        at[pipe["to_node"]] = (datum, passes, wet, kept, strong)
    works, flows = {}, {}
    for outlet, head in sizes.outlets.iterrows():
        (pipe,) = network.pipes.index[network.pipes["to_node"] == outlet]
        datum, passes, wet, _, _ = at[outlet]
        spare = head["residual_head_m"] - head["needed_head_m"] + errors[pipe][-1] - datum
        works[outlet] = bool(spare >= -0.001 and passes)
        flows[outlet] = bool(spare >= -0.001 and wet)
    everywhere = [values[3] for values in at.values()], [values[4] for values in at.values()]
    return works, all(flows.values()), all(everywhere[0]), all(everywhere[1])


def test_every_draw_is_judged_as_one_would_by_hand():
    scheme, settings = broken_scheme(), project()
    sizes = resizer(scheme, settings)()
    assert len(sizes.breaks)
    places, line, _ = line_and_field(scheme, settings, sizes)
    random = np.random.default_rng(5)
    smooth = np.sin(places.northing_m[None, :] / 80.0 + random.uniform(0, 6, (40, 1)))
    errors = 6.0 * random.standard_normal((40, 1)) * smooth
    # The same ground has the same error: ends of pipes are the starts of those that follow.
    found = held_against(line, errors)
    outcomes = {True: 0, False: 0}
    for number, draw in enumerate(errors):
        parts = {
            str(name): draw[places.first[position] : places.first[position + 1]]
            for position, name in enumerate(scheme.network.pipes.index)
        }
        works, delivered, kept, strong = one_draw(scheme, sizes, {"source": draw[0], **parts})
        assert found.works[number].tolist() == list(works.values())
        assert found.requirements[DELIVERED][number] == delivered
        assert found.requirements[OVER_GROUND][number] == kept
        assert found.requirements[WITHIN_CLASS][number] == strong
        for value in works.values():
            outcomes[value] += 1
    assert min(outcomes.values()) > 10  # both outcomes are seen


def test_beyond_a_break_the_level_follows_the_ground_of_the_break():
    scheme, settings = broken_scheme(), project()
    sizes = resizer(scheme, settings)()
    places, line, _ = line_and_field(scheme, settings, sizes)
    at_break = sizes.breaks.iloc[-1]
    own = dict(zip(line.outlets, line.outlet_datum.tolist(), strict=True))
    assert own["outlet 1"] == SOURCE_PLACE
    assert own["outlet 2"] == own["outlet 3"] > 0
    assert places.easting_m[own["outlet 2"]] == at_break["easting_m"]
    assert places.northing_m[own["outlet 2"]] == at_break["northing_m"]


def test_water_at_rest_counts_from_the_source():
    settings = project({"height_standard_deviation_m": 3.0}, simulations=2000)
    scheme = hill_scheme()
    places, line, field = line_and_field(scheme, settings)
    errors = field.draws_m(2000, 1)
    expected = (line.static_m + errors[:, line.outlet_place] - errors[:, [0]] > 0).all(axis=1)
    found = held_against(line, errors).requirements[AT_REST]
    assert (found == expected).all()
    assert len(places.ground_m) == errors.shape[1]


def test_the_same_state_gives_the_same_figures():
    scheme = hill_scheme()
    one, two = (assess(scheme, project()).outlets for _ in range(2))
    other = assess(scheme, project(random_state=2)).outlets
    pd.testing.assert_frame_equal(one, two)
    assert not np.allclose(one["spare_head_low_m"], other["spare_head_low_m"], atol=1e-6)


def test_bands_hold_nine_tenths_of_the_ground_against_the_water():
    settings = project(simulations=4000)
    scheme = hill_scheme()
    found = assess(scheme, settings)
    for name, band in found.bands.items():
        section = scheme.heads.sections[name]
        assert np.allclose(band["distance_m"], section.distance_m)
        assert np.allclose((band["high_m"] + band["low_m"]) / 2, section.ground_level_m)
        source = scheme.network.nodes.geometry.iloc[0]
        away = np.hypot(section.easting_m - source.x, section.northing_m - source.y)
        of_head = np.sqrt(2 * (1 - correlation(away, 300.0)))
        assert np.allclose(band["high_m"] - band["low_m"], 2 * norm.ppf(0.95) * of_head)
