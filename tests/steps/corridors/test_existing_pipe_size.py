"""The size of pipe that is there already, on the edges and pipes that use it."""

from __future__ import annotations

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pytest

from dewpond.steps.routing import assemble_network
from steps.corridors.pipe_ground import CRS, candidates, holding, join, lay, line, source

FENCES = [line((0, 0), (100, 0), (200, 0), (300, 0))]
SITES = [(100, 0), (300, 0)]


def farm(shapes, sizes, conditions):
    table = gpd.GeoDataFrame(
        {"name": "", "outside_diameter_mm": sizes, "condition": conditions},
        geometry=shapes, crs=CRS,
    )  # fmt: skip
    plain = holding([source(0, 0)])
    return replace(plain, features=replace(plain.features, existing_pipe=table))


def pipes(farm):
    corridors = lay(farm, FENCES, SITES)
    layout = join(farm, candidates(FENCES, SITES), corridors, [0, 1])
    return assemble_network(farm, corridors, layout).pipes


def test_a_pipe_ends_where_the_size_changes_and_where_the_old_pipe_ends():
    ways = [line((0, 0), (150, 0)), line((150, 0), (220, 0))]
    table = pipes(farm(ways, [32.0, 25.0], ["good", ""]))
    assert table["laying"].tolist() == ["existing", "existing", "fence"]
    sizes = table["existing_outside_diameter_mm"].to_numpy()
    # Past the first outlet the edge lies partly in 32 mm and partly in 25 mm: the least counts.
    np.testing.assert_equal(sizes, [32.0, 25.0, np.nan])
    assert table["length_m"].tolist() == pytest.approx([100, 120, 80])
    assert table["cost"].tolist() == pytest.approx([0, 0, 80 * 4.0])


def test_a_size_that_is_partly_unknown_is_unknown():
    ways = [line((0, 0), (40, 0)), line((40, 0), (300, 0))]
    table = pipes(farm(ways, [32.0, np.nan], ["", ""]))
    assert set(table["laying"]) == {"existing"}
    assert np.isnan(table["existing_outside_diameter_mm"]).all()


def test_worn_out_pipe_is_not_there():
    table = pipes(farm([line((0, 0), (300, 0))], [32.0], ["poor"]))
    assert set(table["laying"]) == {"fence"}
    assert table["cost"].sum() == pytest.approx(300 * 4.0)
    assert np.isnan(table["existing_outside_diameter_mm"]).all()
