"""Paddocks too wide for their fences are tried within; the rest are not."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from candidate_ground import make_holding, mob
from shapely.geometry import box

from dewpond.base.settings import DesignSettings, SitingSettings
from dewpond.steps.candidates import find_candidates


def sites_of(shapes, walk_limit_m, *, siting=None, mobs=None, **ground):
    holding, terrain = make_holding(shapes, mobs=mobs, **ground)
    design = DesignSettings(walk_limit_m=walk_limit_m)
    return find_candidates(holding, terrain, siting or SitingSettings(), design, 3.0)


def inside(found):
    return found.sites[found.sites["kind"] == "inside"]


@pytest.mark.parametrize(("walk_limit_m", "tried"), [(310.0, False), (290.0, True)])
def test_only_a_paddock_with_ground_beyond_a_walk_from_its_fences(walk_limit_m, tried):
    # The middle of a square of 600 m lies 300 m from the nearest place on its fence.
    wide, narrow = box(0, 0, 600, 600), box(600, 0, 700, 600)
    found = inside(sites_of([wide, narrow], walk_limit_m))
    assert (len(found) > 0) == tried
    assert found.within(wide).all()


def test_the_places_leave_no_ground_beyond_a_walk():
    square = box(0, 0, 600, 600)
    found = sites_of([square], 120.0)
    covered = shapely.union_all(shapely.buffer(found.sites.geometry.to_numpy(), 120.0))
    assert covered.covers(square)
    assert found.warnings == ()
    # A hundred of them in the paddock, for that lies within 30 m (or the spacing) to 90 m.
    apart = inside(found).geometry.to_numpy()
    away = shapely.distance(apart[:, None], apart)
    np.fill_diagonal(away, np.inf)
    assert away.min() == pytest.approx(60.0)


def test_places_that_a_rule_strikes_out_do_not_count():
    def known_in_the_west(easting, northing):
        return np.where((easting > 150) & (northing > -100), np.nan, 0.0)

    square = box(0, 0, 400, 400)
    assert len(inside(sites_of([square], 290.0))) == 0
    assert len(inside(sites_of([square], 290.0, height_m=known_in_the_west))) > 0


def test_a_huge_paddock_is_tried_coarsely_and_says_so():
    found = sites_of([box(0, 0, 3000, 3000)], 150.0)
    assert 200 < len(inside(found)) <= 441
    (said,) = found.warnings
    assert said.startswith("field 0: ")
    assert "150 m apart, far for a walk of 150 m" in said


def test_a_limit_that_no_places_can_keep_is_told_with_its_remedy():
    found = sites_of([box(0, 0, 150, 150), box(150, 0, 300, 150)], 1.0)
    assert len(inside(found)) == 0
    (said,) = found.warnings
    # 45,000 m2 by discs of 1 m: pi m2 each.
    assert "field 0, field 1: a walk of 1 m is too short for 4.5 ha" in said
    assert "at least 14324 outlets" in said
    assert "raise design.walk_limit_m" in said


def test_what_the_user_says_of_places_inside_stands():
    square = box(0, 0, 600, 600)
    off = sites_of([square], 120.0, siting=SitingSettings(inside=False))
    assert len(inside(off)) == 0
    on = sites_of([square], 400.0, siting=SitingSettings(inside=True, spacing_m=100.0))
    assert len(inside(on)) > 0


def test_ground_that_is_not_grazed_asks_for_nothing():
    found = sites_of([box(0, 0, 600, 600), box(600, 0, 700, 100)], 120.0, mobs=[mob([1])])
    assert len(inside(found)) == 0
