"""What the reader of a layout should know, in sentences."""

from __future__ import annotations

from collections.abc import Iterator

import shapely

from dewpond.base.jointdesign import JointDesign
from dewpond.base.model import Candidates, Corridors, Holding, Proof
from dewpond.base.settings import LayoutSettings
from dewpond.steps.layout.options import IntArray
from dewpond.steps.layout.still_water import HighGround

# A place and the site made of it [m].
_SAME_PLACE_M = 0.01


def about_unjoined(candidates: Candidates, sites: IntArray, source: str) -> Iterator[str]:
    """Name outlets that the user fixed where no pipe can go."""
    for point in candidates.sites.geometry.iloc[sites]:
        yield (
            f"The outlet fixed at easting {point.x:.0f}, northing {point.y:.0f} cannot be joined "
            f'to source "{source}": no way for pipe leads there; open one, or give a track or '
            "existing pipe in [features]"
        )


def about_useless(holding: Holding, candidates: Candidates) -> Iterator[str]:
    """Name places the user fixed that serve no grazed paddock, and so are not sites at all."""
    fixed = candidates.sites.geometry[candidates.sites["kind"] == "fixed"].to_numpy()
    tree = shapely.STRtree(fixed)
    for point in holding.features.fixed_outlets.geometry:
        if not tree.query(point, predicate="dwithin", distance=_SAME_PLACE_M).size:
            yield (
                f"The outlet fixed at easting {point.x:.0f}, northing {point.y:.0f} stands in or "
                "beside no grazed paddock and is left out"
            )


def about_limits(holding: Holding, broken: IntArray, layout: LayoutSettings) -> Iterator[str]:
    """Name paddocks whose number of outlets had to leave the range that was asked for."""
    grazed = holding.grazed
    most = layout.most_outlets_per_paddock
    asked = f"at least {layout.least_outlets_per_paddock}" + (
        "" if most is None else f" and at most {most}"
    )
    for row in broken:
        name = holding.paddocks.at[grazed[row], "name"]
        yield (
            f"{name}: {asked} outlets were asked for; no scheme was found that keeps this and "
            "waters all ground in reach, so the ground was watered"
        )


def about_still_water(
    corridors: Corridors, sites: IntArray, edges: IntArray, high: HighGround, source: str
) -> Iterator[str]:
    """Tell what of the scheme lies above the still water of its source."""
    outlets = int(high.sites[sites].sum())
    length_m = float(corridors.edges["length_m"].to_numpy()[edges[high.edges[edges]]].sum())
    if outlets or length_m > 0:
        yield (
            f'Source "{source}" stands too low for some of the ground: outlets with too little '
            f"static head {outlets}, pipe over ground above its still water ({high.level_m:.1f} m)"
            f" {length_m:.0f} m; no lower place or way serves that ground"
        )


def about_gap(
    proof: Proof, chosen: JointDesign, layout: LayoutSettings, source: str
) -> Iterator[str]:
    """Own up to a proof that falls short of the one asked for, and say why the search stopped."""
    unproven = f"up to {100 * proof.gap:.1f} % of its price might be saved"
    choice = f'The choice of outlets and pipe from "{source}"'
    if not chosen.reproducible:
        yield (
            f"{choice} was cut short after {layout.time_limit_s:g} s: {unproven}, and another run "
            "may find another scheme"
        )
    elif proof.gap <= max(layout.optimality_gap, 1e-6):
        return
    elif chosen.gap > max(layout.optimality_gap, 1e-6):
        yield f"{choice} stopped at its {chosen.status}: {unproven}"
    else:
        yield (
            f"{choice} stopped within the gap asked for ({100 * layout.optimality_gap:g} %) while "
            "it also counted, besides the price, works above still water and on preferred ground; "
            f"in price alone {unproven}. A smaller layout.optimality_gap narrows this"
        )
