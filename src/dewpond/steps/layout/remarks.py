"""What the reader of a layout should know, in sentences."""

from __future__ import annotations

from collections.abc import Iterator

import shapely

from dewpond.base.jointdesign import JointDesign
from dewpond.base.model import Candidates, Corridors, Holding, Proof
from dewpond.base.settings import LayoutSettings
from dewpond.base.words import words
from dewpond.steps.layout.options import IntArray
from dewpond.steps.layout.still_water import HighGround

# A place and the site made of it [m].
_SAME_PLACE_M = 0.01


def about_unjoined(candidates: Candidates, sites: IntArray, source: str) -> Iterator[str]:
    """Name outlets that the user fixed where no pipe can go."""
    for point in candidates.sites.geometry.iloc[sites]:
        yield words("layout.remarks.fixed_outlet_unjoined", x=point.x, y=point.y, source=source)


def about_useless(holding: Holding, candidates: Candidates) -> Iterator[str]:
    """Name places the user fixed that serve no grazed paddock, and so are not sites at all."""
    fixed = candidates.sites.geometry[candidates.sites["kind"] == "fixed"].to_numpy()
    tree = shapely.STRtree(fixed)
    for point in holding.features.fixed_outlets.geometry:
        if not tree.query(point, predicate="dwithin", distance=_SAME_PLACE_M).size:
            yield words("layout.remarks.fixed_outlet_off_paddocks", x=point.x, y=point.y)


def about_limits(holding: Holding, broken: IntArray, layout: LayoutSettings) -> Iterator[str]:
    """Name paddocks whose number of outlets had to leave the range that was asked for."""
    grazed = holding.grazed
    most = layout.most_outlets_per_paddock
    asked = f"at least {layout.least_outlets_per_paddock}" + (
        "" if most is None else words("layout.remarks.and_at_most", most=most)
    )
    for row in broken:
        name = holding.paddocks.at[grazed[row], "name"]
        yield (words("layout.remarks.outlet_count_not_kept", name=name, asked=asked))


def about_still_water(
    corridors: Corridors, sites: IntArray, edges: IntArray, high: HighGround, source: str
) -> Iterator[str]:
    """Tell what of the scheme lies above the still water of its source."""
    outlets = int(high.sites[sites].sum())
    length_m = float(corridors.edges["length_m"].to_numpy()[edges[high.edges[edges]]].sum())
    if outlets or length_m > 0:
        yield words(
            "layout.remarks.source_too_low",
            source=source,
            outlets=outlets,
            level_m=high.level_m,
            length_m=length_m,
        )


def about_gap(
    proof: Proof, chosen: JointDesign, layout: LayoutSettings, source: str
) -> Iterator[str]:
    """Own up to a proof that falls short of the one asked for, and say why the search stopped."""
    unproven = words("layout.remarks.unproven_share", gap=100 * proof.gap)
    choice = words("layout.remarks.choice_from_source", source=source)
    if not chosen.reproducible:
        yield words(
            "layout.remarks.cut_short_by_clock",
            choice=choice,
            time_limit_s=layout.time_limit_s,
            unproven=unproven,
        )
    elif proof.gap <= max(layout.optimality_gap, 1e-6):
        return
    elif chosen.gap > max(layout.optimality_gap, 1e-6):
        yield words(
            "layout.remarks.stopped_at_limit",
            choice=choice,
            status=chosen.status,
            unproven=unproven,
        )
    else:
        yield words(
            "layout.remarks.stopped_within_gap",
            choice=choice,
            optimality_gap=100 * layout.optimality_gap,
            unproven=unproven,
        )
