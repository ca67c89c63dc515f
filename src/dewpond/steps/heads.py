"""Ground and static head along every pipe, with the summits and hollows on the way."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt
import pandas as pd

from dewpond.base.extrema import hollows_of, summits_of
from dewpond.base.model import Heads, Holding, Network, Section, Source
from dewpond.base.profile import GroundProfiles, ground_profiles
from dewpond.base.still_water import still_water

# A rise must stand this far over its surroundings to hold air, a hollow lie this far below to
# hold water worth draining [m]; common practice, no source. Smaller ones are noise in open data.
_PROMINENCE_M = 0.5
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
        hollow is marked where it stands out by half a metre from any way on to an end of the
        network or to ground more extreme; one at a fork is marked on the pipe that leads to it.

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
    warnings = (*_source_warnings(holding, source), *_pipe_warnings(sections, pipes))
    return Heads(level_m, reason, nodes, pipes, sections, warnings)


def _source_warnings(holding: Holding, source: Source) -> list[str]:
    found = []
    settings = source.settings
    if settings.kind == "mains" and settings.static_pressure_bar is None:
        found.append(
            f'Source "{source.name}" is a main without a static pressure: heads are counted from '
            "the ground there and are too low; measure it and give static_pressure_bar"
        )
    raster_m = float(holding.surface.heights_m(source.easting_m, source.northing_m))
    if settings.level_m is not None and abs(settings.level_m - raster_m) > _LEVEL_DIFFERENCE_M:
        found.append(
            f'Source "{source.name}": the level given, {settings.level_m:.1f} m, is '
            f"{abs(settings.level_m - raster_m):.1f} m from the elevation raster there, "
            f"{raster_m:.1f} m; check place, level and datum"
        )
    return found


def _pipe_warnings(sections: Mapping[str, Section], pipes: pd.DataFrame) -> list[str]:
    found = []
    for name, lowest_m in pipes["lowest_static_head_m"].items():
        section = sections[str(name)]
        if lowest_m < 0:
            at_m = section.distance_m[int(np.nanargmax(section.ground_level_m))]
            found.append(
                f"{name}: the ground rises {-lowest_m:.1f} m above the still water of the source, "
                f"highest at {at_m:.0f} m along the pipe from it: water cannot pass by itself"
            )
        unknown = np.isnan(section.ground_level_m)
        if unknown.any():
            found.append(
                f"{name}: {int(unknown.sum())} of {unknown.size} points along it have no height "
                "in any elevation raster; heads there are not known"
            )
    return found


def _greatest(values: npt.NDArray[np.float64]) -> float:
    """Return the greatest known value, NaN when none is known."""
    known = values[~np.isnan(values)]
    return float(known.max()) if known.size else float("nan")


def _sections(holding: Holding, network: Network) -> dict[str, Section]:
    pipes = network.pipes
    profiles = ground_profiles(pipes.geometry.to_numpy(), holding.surface)
    summits, hollows = _extrema(network, profiles)
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
    network: Network, profiles: GroundProfiles
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
    summits[once] = summits_of(before, height_m, _PROMINENCE_M)
    hollows[once] = hollows_of(before, height_m, _PROMINENCE_M)
    return summits, hollows


def _filled(height_m: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Return heights with unknown ones drawn straight between their neighbours."""
    known = ~np.isnan(height_m)
    if known.all() or not known.any():
        return np.nan_to_num(height_m)
    place = np.arange(height_m.size)
    return np.interp(place, place[known], height_m[known])
