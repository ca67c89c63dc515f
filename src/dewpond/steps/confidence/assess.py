"""How often a scheme works when its heights are as far out as such data are."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pandas as pd
from scipy.special import ndtri

from dewpond.base.advice import listed
from dewpond.base.heighterror import (
    ErrorPoints,
    HeightError,
    KnownLevels,
    assumption,
    height_error,
)
from dewpond.base.model import (
    Confidence,
    Flows,
    HeadMargins,
    Heads,
    Holding,
    Intake,
    Network,
    Sizes,
    Terrain,
    Watering,
)
from dewpond.base.settings import Project
from dewpond.base.surface import FloatArray, interpolate
from dewpond.base.words import words
from dewpond.steps.confidence.chances import (
    HIGH_SHARE,
    LOW_SHARE,
    Outcomes,
    outcomes,
    outlet_table,
    requirement_table,
)
from dewpond.steps.confidence.field import EXACT, Field
from dewpond.steps.confidence.influences import influence_table, make_loaded
from dewpond.steps.confidence.line import SOURCE_PLACE, Line, Places, make_line, make_places
from dewpond.steps.confidence.risks import find_risks
from dewpond.steps.confidence.safer import design_pipes, design_record, search_safer
from dewpond.steps.confidence.survey import survey_table

Resize = Callable[[HeadMargins], Sizes]

_NOTHING = KnownLevels(np.empty(0), np.empty(0), np.empty(0), np.empty(0))


def assess_confidence(
    holding: Holding,
    terrain: Terrain,
    network: Network,
    heads: Heads,
    watering: Watering,
    flows: Flows,
    intake: Intake,
    sizes: Sizes,
    settings: Project,
    resize: Resize,
) -> Confidence:
    """Work out how sure a sized scheme is, where levels would settle it, and what safer costs.

    The error of the heights is simulated at the source and at every ground point of the pipe.
    Where the level of the source comes from the raster it shares the error of the ground there,
    so that what both ends have in common does no harm; a level stated in the project is known.
    A break tank or reducing valve sets a level by its own ground.

    Parameters
    ----------
    holding : Holding
        Heights, and the levels that are known.
    terrain : Terrain
        Its slope says where ground is steep.
    network, heads, watering, flows, intake, sizes
        The scheme as sized.
    settings : Project
        ``[confidence]``, ``[terrain]``, ``[pipe]`` and ``[supply]`` of it.
    resize : callable
        Sizes the same scheme anew with margins in hand.

    Returns
    -------
    Confidence
    """
    ask = settings.confidence
    error = height_error(settings.terrain, holding.surface.posting_m)
    places = make_places(network, heads)
    field = Field(error, _points(places, terrain), _known(holding, terrain))
    stated = holding.sources[network.source].settings.level_m is not None
    lift_m = float(intake.level_m[0]) - heads.source_level_m
    datum = EXACT if stated else SOURCE_PLACE

    def as_line(sized: Sizes) -> Line:
        return make_line(network, heads, lift_m, sized, settings.pipe, places, datum)

    line = as_line(sizes)
    errors_m = field.draws_m(ask.simulations, ask.random_state)
    found, risks = outcomes(line, errors_m), find_risks(line, field)
    served = outcomes(line, np.zeros((1, len(places.ground_m)))).works[0]
    fits = bool(sizes.pipes["outside_diameter_mm"].notna().any()) or sizes.pipes.empty
    safer = None
    if fits and line.outlets:
        safer = search_safer(
            line, field, places, network, ask.wanted, sizes, resize,
            lambda sized: outcomes(as_line(sized), errors_m).works.mean(axis=0),
        )  # fmt: skip
    sure = safer.sizes if safer is not None and safer.enough(ask.wanted) else None
    together = np.nan if sure is None else _chance_all(outcomes(as_line(sure), errors_m))
    ground_m = heads.nodes.loc[list(line.outlets), "ground_level_m"].to_numpy(dtype=float)
    ground_m = np.where(np.isnan(ground_m), places.ground_m[line.outlet_place], ground_m)
    loaded = make_loaded(network, watering, flows, intake, sizes, ground_m, settings.pipe)
    return Confidence(
        outlets=outlet_table(line, found).assign(
            weakest=np.where(np.isfinite(line.spare_m), risks.kind, "none")
        ),
        requirements=requirement_table(line, found, len(places.ground_m), fits),
        chance_all=_chance_all(found),
        simulations=ask.simulations,
        assumed=_assumed(error, field.known, ask.random_state),
        bands=_bands(network, heads, places, line, field),
        survey=survey_table(line, field, risks, places, network, heads, ask),
        influences=influence_table(
            loaded, _least_heights(line, found, served), served, ask,
            settings.supply.dry_summer_factor,
        ),
        design=design_record(safer, line, served, together, sizes, ask.wanted),
        design_pipes=design_pipes(sizes, sure),
        warnings=_warnings(settings, error, line, served, fits),
        safer=None if sure is sizes else sure,
    )  # fmt: skip


def _points(places: Places, terrain: Terrain) -> ErrorPoints:
    """Return the places with their slope, rise over run."""
    slope = _slope(places.easting_m, places.northing_m, terrain)
    return ErrorPoints(places.easting_m, places.northing_m, slope)


def _known(holding: Holding, terrain: Terrain) -> KnownLevels:
    """Return the known levels with the slope that a place of the pipe has there.

    A level at a steep place is of the same field as the pipe there: with another slope it would
    leave an error where none is left.
    """
    known = holding.known_levels
    if known is None:
        return _NOTHING
    return replace(known, slope=_slope(known.easting_m, known.northing_m, terrain))


def _slope(easting_m: FloatArray, northing_m: FloatArray, terrain: Terrain) -> FloatArray:
    """Return the slope of the ground, rise over run; NaN beyond the grid."""
    return np.tan(np.radians(interpolate(terrain.slope_degrees, easting_m, northing_m)))


def _chance_all(found: Outcomes) -> float:
    return float(found.works.all(axis=1).mean()) if found.works.shape[1] else float("nan")


def _assumed(error: HeightError, known: KnownLevels, random_state: int) -> dict[str, float | str]:
    return {
        "standard_deviation_m": error.standard_deviation_m,
        "short_range_m": error.short_range_m,
        "long_range_m": error.long_range_m,
        "long_share": error.long_share,
        "steep_factor": error.steep_factor,
        "data_class": error.data_class,
        "source": error.source,
        "levels": float(len(known)),
        "random_state": float(random_state),
    }


def _bands(
    network: Network, heads: Heads, places: Places, line: Line, field: Field
) -> dict[str, pd.DataFrame]:
    """Return the ground along each pipe as low and as high as it may well be under its water."""
    mean, deviation = field.heads_of(line.place, line.datum)
    half_m, middle_m = np.zeros(len(places.ground_m)), places.ground_m.copy()
    # Written from the last row to the first, so that at a break the water before it counts.
    rows = np.arange(len(line.place))[::-1]
    half_m[line.place[rows]] = float(ndtri(HIGH_SHARE)) * deviation[rows]
    middle_m[line.place[rows]] = places.ground_m[line.place[rows]] - mean[rows]
    found = {}
    for position, name in enumerate(network.pipes.index):
        part = slice(int(places.first[position]), int(places.first[position + 1]))
        found[str(name)] = pd.DataFrame({
            "distance_m": heads.sections[str(name)].distance_m,
            "low_m": middle_m[part] - half_m[part],
            "high_m": middle_m[part] + half_m[part],
        })  # fmt: skip
    return found


def _least_heights(line: Line, found: Outcomes, served: FloatArray) -> tuple[float, float]:
    """Return the least spare head over the outlets served, 5 and 95 % of the draws."""
    if not served.any():
        return float("nan"), float("nan")
    least = (line.spare_m + found.gained_m)[:, served].min(axis=1)
    low, high = np.quantile(least, [LOW_SHARE, HIGH_SHARE])
    return float(low), float(high)


def _warnings(
    settings: Project, error: HeightError, line: Line, served: FloatArray, fits: bool
) -> tuple[str, ...]:
    assumed = assumption(settings.terrain, error)
    said = [assumed] if assumed else []
    if not fits:
        said.append(words("confidence.warnings.no_pipe"))
    short = [name for name, some in zip(line.outlets, served, strict=True) if not some]
    if short and fits:
        said.append(words("confidence.warnings.short", outlets=listed(short), count=len(short)))
    return tuple(said)
