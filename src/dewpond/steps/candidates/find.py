"""Candidate sites of a holding, by rule."""

from __future__ import annotations

from collections.abc import Mapping

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely

from dewpond.base.model import Candidates, Holding, Terrain
from dewpond.base.settings import DesignSettings, LayoutSettings, SitingSettings
from dewpond.base.words import words
from dewpond.steps.candidates.fences import merge_fences
from dewpond.steps.candidates.inside import InsidePlaces, places_within
from dewpond.steps.candidates.places import (
    fence_places,
    finer_places,
    merge_places,
)
from dewpond.steps.candidates.rules import (
    KEEP_OUT,
    RULES,
    broken_rules,
    ground_at,
    within_keep_out,
)
from dewpond.steps.candidates.wishes import BY_WORD, wished_places

# Stock stand no farther from the outlet than this many gap widths (or 1 m).
_FARTHEST_GAPS = 1.5


def find_candidates(
    holding: Holding,
    terrain: Terrain,
    siting: SitingSettings,
    design: DesignSettings,
    gap_width_m: float,
    spine_spacing_m: float = LayoutSettings().spine_spacing_m,
) -> Candidates:
    """Find the places where an outlet may stand, and the paddocks each can serve.

    Neighbours' boundaries are merged into fences once each; a place on a shared fence serves
    both sides, one at a junction every paddock that meets there. Where stock drink from a mobile
    trough on a hose, where a paddock has ground beyond a walk from its fences, or where
    ``siting.inside`` says so, a lattice within the paddock is tried too.
    Outlets that the user fixed, and sound ones that are there already, are sites whatever the
    rules say; their kinds, and that of places along a spine, are "fixed", "existing" and "spine".

    Parameters
    ----------
    holding : Holding
        Paddocks, features and ground heights, in metres.
    terrain : Terrain
        For the slope under an outlet.
    siting : SitingSettings
        Spacing of places and the rules they must pass.
    design : DesignSettings
        Trough, hose and longest walk, which decide on places within paddocks.
    gap_width_m : float
        Neighbouring boundaries no farther apart than this are one fence [m].
    spine_spacing_m : float
        Distance between outlets along a spine [m].

    Returns
    -------
    Candidates
        May hold no site at all; `assign_ground` then names the ground that stays dry.
    """
    fences = merge_fences(holding.paddocks, gap_width_m)
    wished = wished_places(holding, spine_spacing_m, _beside_m(gap_width_m))
    found = _all_places(holding, terrain, siting, design, fences, wished)
    places = found.places
    points = shapely.points(places["easting_m"], places["northing_m"])
    height_m, slope_degrees = _ground(holding, terrain, places)
    broken = broken_rules(holding, siting, points, height_m, slope_degrees)
    access = _access(holding, places, points, gap_width_m)
    dry_side = within_keep_out(holding.features.keep_out, _access_points(access))

    struck = np.any([broken[rule] for rule in RULES], axis=0) & ~places["kind"].isin(BY_WORD)
    struck = struck.to_numpy(dtype=np.bool_)
    place = access["site"].to_numpy()
    passes = ~struck[place] & ~dry_side
    kept = np.unique(place[passes])
    sites = gpd.GeoDataFrame(
        {
            "kind": places["kind"].to_numpy()[kept],
            "ground_level_m": height_m[kept],
            "slope_degrees": slope_degrees[kept],
        },
        geometry=points[kept],
        crs=holding.crs,
    )
    broken_by_pair = {rule: broken[rule][place] for rule in RULES}
    broken_by_pair[KEEP_OUT] = broken_by_pair[KEEP_OUT] | dry_side
    return Candidates(
        sites=sites,
        access=_renumber(access[passes], kept),
        fences=fences,
        refused=_refused(broken_by_pair, place, passes),
        by_paddock=_by_paddock(holding, access, broken_by_pair, passes),
        warnings=(*found.warnings, *_beside_nothing(wished)),
    )


def _beside_nothing(wished: pd.DataFrame) -> list[str]:
    """Tell of places the user named that stand beside no grazed paddock."""
    lost = wished[wished["kind"].isin(BY_WORD) & (wished["paddocks"].map(len) == 0)]
    return [
        words(
            "candidates.find.existing_outlet_serves_none",
            kind=kind,
            easting_m=easting_m,
            northing_m=northing_m,
        )
        for kind, easting_m, northing_m in zip(
            lost["kind"], lost["easting_m"], lost["northing_m"], strict=True
        )
    ]


def _all_places(
    holding: Holding,
    terrain: Terrain,
    siting: SitingSettings,
    design: DesignSettings,
    fences: gpd.GeoDataFrame,
    wished: pd.DataFrame,
) -> InsidePlaces:
    """Return every place that could serve a grazed paddock, once, before any rule."""

    def struck(places: pd.DataFrame) -> npt.NDArray[np.bool_]:
        points = shapely.points(places["easting_m"], places["northing_m"])
        broken = broken_rules(holding, siting, points, *_ground(holding, terrain, places))
        return np.asarray(np.any([broken[rule] for rule in RULES], axis=0))

    along = fence_places(fences, siting.spacing_m)
    finer = finer_places(along, struck(along), fences)
    # Of places on one spot the first gives its kind, so what the user wished comes first.
    frames = [frame for frame in (wished, along, finer) if len(frame)]
    fenced = pd.concat(frames, ignore_index=True)
    stand = fenced[~struck(fenced) | fenced["kind"].isin(BY_WORD)].reset_index(drop=True)
    inside = places_within(holding, siting, design, stand, terrain.cell_m)
    frames = [frame for frame in (fenced, inside.places) if len(frame)]
    places = merge_places(pd.concat(frames, ignore_index=True))
    grazed = set(holding.grazed)
    serves = [any(paddock in grazed for paddock in sides) for sides in places["paddocks"]]
    return InsidePlaces(places[serves].reset_index(drop=True), inside.warnings)


def _ground(
    holding: Holding, terrain: Terrain, places: pd.DataFrame
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    easting = places["easting_m"].to_numpy(dtype=np.float64)
    northing = places["northing_m"].to_numpy(dtype=np.float64)
    return ground_at(holding, terrain, easting, northing)


def _access(
    holding: Holding, places: pd.DataFrame, points: npt.NDArray[np.object_], gap_width_m: float
) -> pd.DataFrame:
    """Return one row for each place and grazed paddock it serves: where the stock stand.

    Where a merged fence strays farther from a boundary than an outlet can serve, it does not.
    """
    pairs = places["paddocks"].explode()
    pairs = pairs[pairs.isin(holding.grazed)].astype(np.intp)
    place, paddock = pairs.index.to_numpy(), pairs.to_numpy()
    shapes = holding.paddocks.geometry.loc[paddock].to_numpy()
    to_paddock = shapely.get_coordinates(shapely.shortest_line(points[place], shapes))
    stands = to_paddock.reshape(-1, 2, 2)[:, 1]
    access = pd.DataFrame(
        {
            "site": place,
            "paddock": paddock,
            "easting_m": stands[:, 0],
            "northing_m": stands[:, 1],
        }
    )
    near = shapely.distance(points[place], shapes) <= _beside_m(gap_width_m)
    return access[near].reset_index(drop=True)


def _beside_m(gap_width_m: float) -> float:
    """Return how far from an outlet the stock of a paddock may stand [m]."""
    return max(_FARTHEST_GAPS * gap_width_m, 1.0)


def _access_points(access: pd.DataFrame) -> npt.NDArray[np.object_]:
    points: npt.NDArray[np.object_] = shapely.points(access["easting_m"], access["northing_m"])
    return points


def _renumber(access: pd.DataFrame, kept: npt.NDArray[np.intp]) -> pd.DataFrame:
    renumbered = access.assign(site=np.searchsorted(kept, access["site"].to_numpy()))
    return renumbered.sort_values(["site", "paddock"], ignore_index=True)


def _refused(
    broken_by_pair: Mapping[str, npt.NDArray[np.bool_]],
    place: npt.NDArray[np.intp],
    passes: npt.NDArray[np.bool_],
) -> dict[str, int]:
    """Return how many places each rule struck out; one that breaks two rules counts in both."""
    lost = ~np.isin(place, place[passes])
    return {rule: len(np.unique(place[lost & hit])) for rule, hit in broken_by_pair.items()}


def _by_paddock(
    holding: Holding,
    access: pd.DataFrame,
    broken_by_pair: Mapping[str, npt.NDArray[np.bool_]],
    passes: npt.NDArray[np.bool_],
) -> pd.DataFrame:
    counts = pd.DataFrame({"sites": passes, **broken_by_pair}).astype(np.intp)
    counts = counts.groupby(access["paddock"].to_numpy()).sum()
    table = counts.reindex(list(holding.grazed), fill_value=0)
    table.insert(0, "name", holding.paddocks["name"].loc[table.index])
    return table
