"""Small schemes whose heights are not sure, and what is assessed of them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from dewpond.base.heighterror import ErrorPoints, HeightError, KnownLevels
from dewpond.base.model import Confidence, HeadMargins, Sizes, Terrain
from dewpond.base.settings import project_from_dict
from dewpond.base.surface import Grid
from dewpond.steps.confidence import assess_confidence
from dewpond.steps.confidence.field import EXACT, Field
from dewpond.steps.confidence.line import SOURCE_PLACE, make_line, make_places
from dewpond.steps.sizing import size_pipe
from steps.schemes import BURIED, Scheme, make_scheme

NOTHING_KNOWN = KnownLevels(np.empty(0), np.empty(0), np.empty(0), np.empty(0))


def project(terrain=None, **confidence):
    """Return settings with the height error and the `[confidence]` that a test wants."""
    return project_from_dict({
        "holding": {"name": "test"},
        "terrain": {"height_standard_deviation_m": 1.0, "correlation_length_m": 300.0,
                    **(terrain or {})},
        "mob": [{"name": "cows", "species": "cattle", "head": 20, "weight_kg": 600.0}],
        "source": [{"name": "tank", "kind": "header_tank", "at": [-2.1, 54.0]}],
        "design": {"laying": "buried"},
        "confidence": confidence,
    })  # fmt: skip


def level_terrain(scheme: Scheme) -> Terrain:
    grid = scheme.farm.surface.layers[0]
    return Terrain(5.0, "as the test has it", grid,
                   Grid(np.zeros_like(grid.values), grid.transform, grid.crs))  # fmt: skip


def resizer(scheme: Scheme, settings):
    def resize(margins: HeadMargins | None = None) -> Sizes:
        return size_pipe(
            scheme.farm, scheme.network, scheme.heads, scheme.watering, scheme.flows,
            scheme.intake, settings.pipe, BURIED, Path(), margins,
        )  # fmt: skip

    return resize


def assess(scheme: Scheme, settings, sizes: Sizes | None = None) -> Confidence:
    resize = resizer(scheme, settings)
    return assess_confidence(
        scheme.farm, level_terrain(scheme), scheme.network, scheme.heads, scheme.watering,
        scheme.flows, scheme.intake, sizes or resize(), settings, resize,
    )  # fmt: skip


def with_spare(scheme: Scheme, settings, spare_m: float) -> Sizes:
    """Return sizes whose outlets are said to have so much head to spare, each."""
    sizes = resizer(scheme, settings)()
    heads = sizes.outlets.assign(residual_head_m=sizes.outlets["needed_head_m"] + spare_m)
    return replace(sizes, outlets=heads)


def line_and_field(scheme: Scheme, settings, sizes=None, known=NOTHING_KNOWN, error=None):
    """Return places, rows and field of a scheme, its source on the raster."""
    sizes = sizes or resizer(scheme, settings)()
    places = make_places(scheme.network, scheme.heads)
    stated = scheme.farm.sources[0].settings.level_m is not None
    line = make_line(
        scheme.network, scheme.heads, 0.0, sizes, settings.pipe, places,
        EXACT if stated else SOURCE_PLACE,
    )  # fmt: skip
    error = error or HeightError(1.0, 300.0, 10_000.0, 0.3)
    points = ErrorPoints(places.easting_m, places.northing_m, np.zeros(len(places.ground_m)))
    return places, line, Field(error, points, known)


def hill_scheme(outlets=6, spacing_m=160.0, tree=True, random_state=3):
    """Return a tree over rolling ground with many outlets, fed by a tank at its corner."""
    random = np.random.default_rng(random_state)
    ways, places, names = [], [(0.0, 0.0)], ["tank"]
    for number in range(outlets):
        parent = int(random.integers(max(0, number - 2), number + 1)) if tree else number
        x, y = places[parent]
        turn = random.uniform(-0.3, 1.3)
        places.append((x + spacing_m * np.cos(turn), y + spacing_m * np.sin(turn)))
        names.append(f"outlet {number + 1}")
        ways.append((names[parent], names[-1], [places[parent], places[-1]]))
    uses = [("cows", name, number, 10.0) for number, name in enumerate(names[1:])]

    def height(x, y):
        return 200 - 0.004 * (x + y) + 3.0 * np.sin(x / 110) * np.cos(y / 90)

    return make_scheme(ways, uses, height, head_m=16.0)


def broken_scheme():
    """Return a tree that falls so far that the level must be let down on the way."""

    def height(x, y):
        return 300 - 0.3 * np.clip(y, 0.0, 600.0) + 5.0 * np.sin(y / 60.0)

    ways = [
        ("tank", "outlet 1", [(0.0, 0.0), (0.0, 150.0)]),
        ("outlet 1", "junction 1", [(0.0, 150.0), (0.0, 450.0)]),
        ("junction 1", "outlet 2", [(0.0, 450.0), (60.0, 560.0)]),
        ("junction 1", "outlet 3", [(0.0, 450.0), (-80.0, 500.0)]),
    ]
    uses = [("cows", f"outlet {number}", number, 10.0) for number in (1, 2, 3)]
    return make_scheme(ways, uses, height, head_m=12.0)
