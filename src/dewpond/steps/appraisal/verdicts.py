"""One verdict for each requirement: figure, limit, where it is missed, and what would mend it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from dewpond.base.model import (
    Heads,
    Holding,
    Intake,
    Judgement,
    Network,
    Reach,
    Remedy,
    Siting,
    Sizes,
    Supply,
    Verdict,
)
from dewpond.base.settings import DesignSettings, PipeSettings
from dewpond.base.units import SQUARE_METRES_PER_HECTARE
from dewpond.base.words import words

# Coverage is counted on cells; a share this close to one is rounding, not dry ground.
_WHOLE_SHARE = 1 - 1e-9
_MOST_NAMES = 8
_LEAST_SHOWN_HA = 0.005
# A millimetre of head is rounding.
_ROUNDING_M = 0.001


def walking(
    holding: Holding, reach: Reach, siting: Siting, covered_share: float, design: DesignSettings
) -> Verdict:
    """Hold the share of grazed ground within the walking limit against all of it."""
    dry = reach.cells[siting.nearest_site < 0]
    ids = sorted(dry["paddock"].unique())
    names = [str(holding.paddocks.at[paddock, "name"]) for paddock in ids]
    dry_ha = float(dry["area_m2"].sum()) / SQUARE_METRES_PER_HECTARE
    return Verdict(
        requirement=words(
            "appraisal.verdicts.ground_within_reach", walk_limit_m=design.walk_limit_m
        ),
        figure=100 * covered_share,
        limit=100.0,
        unit="%",
        met=covered_share >= _WHOLE_SHARE,
        where=_listed(names),
        remedy=""
        if not names
        else words("appraisal.verdicts.ground_out_of_reach", hectares=_hectares(dry_ha)),
    )


def _hectares(area_ha: float) -> str:
    return (
        words("appraisal.verdicts.hectares", area_ha=area_ha)
        if area_ha >= _LEAST_SHOWN_HA
        else words("appraisal.verdicts.hardly_any_area")
    )


def _listed(names: Sequence[str]) -> str:
    """Return names in a row, the rest of a long list as a number."""
    shown = ", ".join(names[:_MOST_NAMES])
    return (
        shown
        if len(names) <= _MOST_NAMES
        else words("appraisal.verdicts.and_more", shown=shown, count=len(names) - _MOST_NAMES)
    )


def joined(siting: Siting, network: Network) -> Verdict:
    """Hold the outlets that pipe reaches against all outlets."""
    apart = len(network.unconnected)
    return Verdict(
        requirement=words("appraisal.verdicts.outlets_joined"),
        figure=float(len(siting.sites) - apart),
        limit=float(len(siting.sites)),
        unit="outlets",
        met=apart == 0,
        remedy="" if apart == 0 else words("appraisal.verdicts.allow_open_ground"),
    )


def static_head(network: Network, heads: Heads, intake: Intake) -> Verdict:
    """Hold the least head at rest at an outlet, lifted by the pump where there is one."""
    outlets = network.nodes.index[network.nodes["kind"] == "outlet"]
    head_m = heads.nodes.loc[outlets, "static_head_m"] + _lift_m(heads, intake)
    lowest_m = float(head_m.min()) if len(outlets) else float("nan")
    above = list(head_m.index[head_m <= 0])
    return Verdict(
        requirement=words("appraisal.verdicts.still_water_at_outlets"),
        figure=lowest_m,
        limit=0.0,
        unit="m",
        met=not above,
        where=_listed(above),
        remedy="" if not above else words("appraisal.verdicts.raise_the_source", value=-lowest_m),
    )


def delivered(network: Network, heads: Heads, intake: Intake, sizes: Sizes) -> Verdict:
    """Hold the head at each outlet, with the mobs at their worst, against what its valve needs.

    An outlet behind ground that stands above the water is dry, whatever head it would have. What
    really flows when valves stand open is in `Delivery`; a trough that shares the pipe for the
    minutes in which another refills still gets its water over the day.
    """
    spare_m = sizes.outlets["residual_head_m"] - sizes.outlets["needed_head_m"]
    dry = _behind_high_ground(network, heads, _lift_m(heads, intake))
    short = [name for name in spare_m.index if name in dry or not spare_m[name] >= -_ROUNDING_M]
    return Verdict(
        requirement=words("appraisal.verdicts.design_flow_at_outlets"),
        figure=float(len(spare_m) - len(short)),
        limit=float(len(spare_m)),
        unit="outlets",
        met=not short,
        where=_listed(short),
        remedy="" if not short else words("appraisal.verdicts.see_pipe_and_source"),
    )


def _lift_m(heads: Heads, intake: Intake) -> float:
    """Return how much higher water at rest stands than the static heads reckon [m]."""
    return float(intake.level_m[0]) - heads.source_level_m


def _behind_high_ground(network: Network, heads: Heads, lift_m: float) -> set[str]:
    """Return the nodes that water at rest cannot reach; pipes stand in order outward."""
    lowest_m = heads.pipes["lowest_static_head_m"] + lift_m
    dry: set[str] = set()
    for name, start, end in zip(
        network.pipes.index, network.pipes["from_node"], network.pipes["to_node"], strict=True
    ):
        if start in dry or lowest_m[name] < -_ROUNDING_M:
            dry.add(end)
    return dry


def pipe(sizes: Sizes, settings: PipeSettings) -> Iterable[Verdict]:
    """Hold each pipe against head over the ground and speed; add what sizing could not meet."""
    named = {shortfall.requirement for shortfall in sizes.shortfalls}
    for shortfall in sizes.shortfalls:
        yield Verdict(
            shortfall.requirement, shortfall.figure, shortfall.limit, shortfall.unit, False,
            shortfall.where, shortfall.remedy,
        )  # fmt: skip
    if named or sizes.pipes.empty:
        return
    pipes = sizes.pipes
    residual, speed = pipes["lowest_residual_head_m"], pipes["velocity_m_s"]
    yield Verdict(
        words("appraisal.verdicts.water_over_ground"),
        float(residual.min()), settings.summit_margin_m, "m", True, str(residual.idxmin()),
    )  # fmt: skip
    yield Verdict(
        words("appraisal.verdicts.velocity_within_limit"),
        float(speed.max()), settings.velocity_limit_m_s, "m/s", True, str(speed.idxmax()),
    )  # fmt: skip


def source(name: str, supply: Supply) -> Iterable[Verdict]:
    """Turn what was judged of the source into verdicts, with the first remedies that work.

    Where none is enough by itself, those that mend the requirement at least, else the reason.
    """
    for judgement in supply.judgements:
        yield Verdict(
            requirement=f"{name}: {judgement.requirement}",
            figure=judgement.figure,
            limit=judgement.limit,
            unit=judgement.unit,
            met=judgement.met,
            where=name,
            remedy="" if judgement.met else _remedy(judgement, supply.remedies),
        )


def _remedy(judgement: Judgement, remedies: Sequence[Remedy]) -> str:
    working = [remedy.action for remedy in remedies if remedy.works]
    partly = [remedy.action for remedy in remedies if judgement.requirement in remedy.mends]
    return "; or ".join(working[:3] or partly[:3]) or judgement.reason
