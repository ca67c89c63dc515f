"""Ground and static head along every pipe, with the summits and hollows on the way."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt
import pandas as pd

from dewpond.base.extrema import hollows_of, least_prominence_m, summits_of
from dewpond.base.model import Heads, Holding, Network, Section, Source
from dewpond.base.profile import GroundProfiles, ground_profiles
from dewpond.base.still_water import still_water
from dewpond.base.words import words

# A level given for the source this far from the raster is worth a word [m]; common practice,
# no source.
_LEVEL_DIFFERENCE_M = 5.0


def profile_heads(holding: Holding, network: Network) -> Heads:
    """Work out the ground and the static head along every pipe of a network.

    Static head is the level of still water at the source less the level of the ground. The level
    is that of the ground (given, or else from the raster) plus the height of the water above it,
    plus, for a main, the head of its static pressure.

    Parameters
    ----------
    holding : Holding
        Sources and ground heights.
    network : Network

    Returns
    -------
    Heads
        Sections are sampled at the posting of the elevation data and at every bend. A summit or
        hollow is marked where it stands out, by what `least_prominence_m` asks for that posting,
        from any way on to an end of the network or to ground more extreme; one at a fork is
        marked on the pipe that leads to it. Pipes over ground above the still water are told of
        in one warning, and so are those with unknown ground.

    Raises
    ------
    InputError
        When the ground at the source is neither given nor known to any raster.
    """
    source = holding.sources[network.source]
    level_m, reason = still_water(source, holding.surface)
    sections = _sections(holding, network)
    static_m = {name: level_m - section.ground_level_m for name, section in sections.items()}
    nodes = network.nodes[["ground_level_m"]].copy()
    nodes = pd.DataFrame(nodes)
    nodes["static_head_m"] = level_m - nodes["ground_level_m"]
    pipes = pd.DataFrame(
        {
            "static_head_m": [float(static_m[name][-1]) for name in network.pipes.index],
            "highest_static_head_m": [_greatest(static_m[name]) for name in network.pipes.index],
            "lowest_static_head_m": [-_greatest(-static_m[name]) for name in network.pipes.index],
        },
        index=network.pipes.index,
        dtype=np.float64,
    )
    # A pump lifts the water over rises that still water does not pass.
    rises = [] if source.settings.pump is not None else _rise_warning(sections, pipes)
    warnings = (*_source_warnings(holding, source), *rises, *_gap_warning(sections))
    return Heads(level_m, reason, nodes, pipes, sections, warnings)


def _source_warnings(holding: Holding, source: Source) -> list[str]:
    found = []
    settings = source.settings
    if settings.kind == "mains" and settings.static_pressure_bar is None:
        found.append(words("heads.heads.main_without_pressure", name=source.name))
    raster_m = float(holding.surface.heights_m(source.easting_m, source.northing_m))
    if settings.level_m is not None and abs(settings.level_m - raster_m) > _LEVEL_DIFFERENCE_M:
        found.append(
            words(
                "heads.heads.level_off_raster",
                name=source.name,
                level_m=settings.level_m,
                off_m=abs(settings.level_m - raster_m),
                raster_m=raster_m,
            )
        )
    return found


def _rise_warning(sections: Mapping[str, Section], pipes: pd.DataFrame) -> list[str]:
    """Tell how many pipes run over ground above the still water, and where it is worst."""
    above = pipes.index[pipes["lowest_static_head_m"] < 0]
    if not len(above):
        return []
    worst = str(pipes["lowest_static_head_m"].idxmin())
    section = sections[worst]
    at_m = section.distance_m[int(np.nanargmax(section.ground_level_m))]
    rise_m = -float(pipes.at[worst, "lowest_static_head_m"])
    return [
        words(
            "heads.heads.pipes_above_still_water",
            count=len(above),
            pipes=len(pipes),
            rise_m=rise_m,
            worst=worst,
            at_m=at_m,
        )
    ]


def _gap_warning(sections: Mapping[str, Section]) -> list[str]:
    """Tell how many pipes have points without a height, and which has most."""
    unknown = {
        name: int(np.isnan(section.ground_level_m).sum()) for name, section in sections.items()
    }
    touched = [name for name, count in unknown.items() if count]
    if not touched:
        return []
    worst = max(touched, key=lambda name: unknown[name])
    return [
        words(
            "heads.heads.pipes_without_height",
            count=len(touched),
            pipes=len(sections),
            total=sum(unknown.values()),
            worst=worst,
            unknown=unknown[worst],
        )
    ]


def _greatest(values: npt.NDArray[np.float64]) -> float:
    """Return the greatest known value, NaN when none is known."""
    known = values[~np.isnan(values)]
    return float(known.max()) if known.size else float("nan")


def _sections(holding: Holding, network: Network) -> dict[str, Section]:
    pipes = network.pipes
    profiles = ground_profiles(pipes.geometry.to_numpy(), holding.surface)
    prominence_m = least_prominence_m(holding.surface.posting_m)
    summits, hollows = _extrema(network, profiles, prominence_m)
    start_m = {str(network.nodes.index[0]): 0.0}
    sections = {}
    for position, (name, pipe) in enumerate(pipes.iterrows()):
        points = profiles.of(position)
        distance_m = profiles.distance_m[points] + start_m[pipe["from_node"]]
        start_m[pipe["to_node"]] = float(distance_m[-1])
        sections[str(name)] = Section(
            distance_m,
            profiles.easting_m[points],
            profiles.northing_m[points],
            profiles.ground_level_m[points],
            tuple((np.flatnonzero(summits[points])).tolist()),
            tuple((np.flatnonzero(hollows[points])).tolist()),
        )
    return sections


def _extrema(
    network: Network, profiles: GroundProfiles, prominence_m: float
) -> tuple[npt.NDArray[np.bool_], npt.NDArray[np.bool_]]:
    """Mark summits and hollows of the whole tree on the points of its pipes.

    The first point of a pipe is the last of the one before it (or the source): one place, which
    counts once, on the pipe that leads there.
    """
    total = len(profiles.line)
    first = np.searchsorted(profiles.line, np.arange(len(network.pipes)))
    place = np.arange(total)
    before = np.arange(-1, total - 1)
    end_of: dict[str, int] = {str(network.nodes.index[0]): 0}
    for position, (_, pipe) in enumerate(network.pipes.iterrows()):
        place[first[position]] = before[first[position]] = end_of[pipe["from_node"]]
        end_of[pipe["to_node"]] = profiles.of(position).stop - 1
    once = place == np.arange(total)
    number = np.cumsum(once) - 1
    before = np.where(before[once] >= 0, number[place[before[once]]], -1)
    before[:1] = -1
    height_m = _filled(profiles.ground_level_m)[once]
    summits, hollows = np.zeros(total, dtype=bool), np.zeros(total, dtype=bool)
    summits[once] = summits_of(before, height_m, prominence_m)
    hollows[once] = hollows_of(before, height_m, prominence_m)
    return summits, hollows


def _filled(height_m: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Return heights with unknown ones drawn straight between their neighbours."""
    known = ~np.isnan(height_m)
    if known.all() or not known.any():
        return np.nan_to_num(height_m)
    place = np.arange(height_m.size)
    return np.interp(place, place[known], height_m[known])
