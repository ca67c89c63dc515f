"""What is asked of gravity: level, flow, head and pipe, with all faults at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dewpond.base.errors import Fault, InputError, nearest_name
from dewpond.base.filling import filling_of, tank_level_m
from dewpond.base.float_valves import choose_seat, seats_offered
from dewpond.base.friction import minor_loss_m, velocity_m_s
from dewpond.base.model import Demand, Holding, Source
from dewpond.base.model.command import CommandCase
from dewpond.base.pipes import (
    PipeSize,
    surge_m,
    working_head_m,
    working_head_without_surge_m,
)
from dewpond.base.pipes.rules import friction_law, wall_temperature_c
from dewpond.base.settings import Project
from dewpond.base.sources import pump_place, source_curve
from dewpond.base.units import m3_s_from_l_min
from dewpond.base.words import words
from dewpond.steps.command.pipe import choose_pipe

_WHERE = "[command_area]"
_LEAST_FLOW_L_MIN = 1e-6


@dataclass(frozen=True)
class Asked:
    """The case, the ids of the chosen paddocks, and what the reader should know."""

    case: CommandCase
    chosen: tuple[int, ...]
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class _Water:
    level_m: float
    still_m: float
    most_l_min: float
    reason: str
    warnings: tuple[str, ...]


def ask(project: Project, holding: Holding, demand: Demand) -> Asked:
    """Return what is asked, from the settings of ``[command_area]`` and the rest of the project.

    Raises
    ------
    InputError
        With every fault: a source that is not there or has no level of its own, paddocks that
        are not there, pipe that the table does not hold, no flow to go by.
    """
    settings = project.command_area
    faults: list[Fault] = []
    source = _source(project, holding, faults)
    chosen = _paddocks(settings.paddocks, holding, faults)
    flow, flow_reason = _flow(project, demand, chosen, faults)
    head, head_reason = _head(project, flow)
    pipe, pipe_reason = choose_pipe(project, flow, faults)
    if faults or source is None or pipe is None:
        raise InputError(faults)
    water = _water(project, holding, source, flow)
    loss, fittings, speed, allowed = _hydraulics(project, pipe, flow)
    enough = not water.most_l_min < flow
    case = CommandCase(
        source.name, source.settings.kind, source.easting_m, source.northing_m,
        water.level_m, water.still_m, source.settings.level_m is not None,
        flow, head, pipe, loss, fittings, speed, allowed,
        project.pipe.summit_margin_m, settings.length_factor, enough,
        {"level": water.reason, "flow": flow_reason, "head": head_reason, "pipe": pipe_reason},
    )  # fmt: skip
    return Asked(case, tuple(chosen), (*water.warnings, *_warnings(project, case, water)))


def _source(project: Project, holding: Holding, faults: list[Fault]) -> Source | None:
    """Return the source named, or the first that has a level of its own."""
    name = project.command_area.source or project.design.source
    if name is None:
        found = [source for source in holding.sources if not _lacks_level(source)]
        if found:
            return found[0]
        faults.append(Fault(
            _WHERE, "no source has a level of its own that gravity could draw on",
            expected="a header tank, a spring or a main with static_pressure_bar, without a pump",
        ))  # fmt: skip
        return None
    named = {source.name: source for source in holding.sources}
    if name not in named:
        remedy = nearest_name(name, named)
        faults.append(Fault(
            f"{_WHERE} source", "no [[source]] has that name", f'"{name}"', remedy=remedy
        ))  # fmt: skip
        return None
    lacking = _lacks_level(named[name])
    if lacking:
        faults.append(Fault(
            f'[[source]] "{name}"', f"has no level of its own: {lacking}",
            expected="a header tank, a spring or a main with static_pressure_bar",
            remedy="name another source",
        ))  # fmt: skip
    return named[name]


def _lacks_level(source: Source) -> str:
    """Return why gravity alone does not bring water from a source, empty where it does."""
    settings, place = source.settings, pump_place(source)
    if place == "direct":
        return "a pump makes it"
    if settings.kind == "borehole" and place == "none":
        return "water in a borehole does not run out by itself"
    no_tank = settings.tank_volume_l is None
    if settings.kind == "mains" and settings.static_pressure_bar is None and no_tank:
        return "static_pressure_bar is not given"
    return ""


def _paddocks(asked: str | Sequence[str], holding: Holding, faults: list[Fault]) -> list[int]:
    if isinstance(asked, str):
        return list(holding.grazed) or list(range(len(holding.paddocks)))
    names = {str(name): int(label) for label, name in holding.paddocks["name"].items()}
    for name in asked:
        if name not in names:
            faults.append(Fault(
                f"{_WHERE} paddocks", "no paddock has that name", f'"{name}"',
                remedy=nearest_name(name, names),
            ))  # fmt: skip
    if not asked:
        faults.append(Fault(f"{_WHERE} paddocks", "is empty", remedy=nearest_name("", names)))
    return sorted({names[name] for name in asked if name in names})


def _flow(
    project: Project, demand: Demand, chosen: Sequence[int], faults: list[Fault]
) -> tuple[float, str]:
    asked = project.command_area.flow_l_min
    if asked is not None:
        return asked, words("command.flow_asked", flow_l_min=asked)
    flow = float(demand.paddocks["design_flow_l_min"].reindex(list(chosen)).max())
    if not chosen or flow > 0.0:
        return flow, words("command.flow_of_mob", flow_l_min=flow)
    faults.append(Fault(
        f"{_WHERE} paddocks", "no mob grazes the chosen paddocks, so there is no flow to go by",
        remedy="give flow_l_min, or other paddocks",
    ))  # fmt: skip
    return _LEAST_FLOW_L_MIN, ""


def _head(project: Project, flow_l_min: float) -> tuple[float, str]:
    asked = project.command_area.head_m
    if asked is not None:
        return asked, words("command.head_asked", head_m=asked)
    offered = seats_offered(project.trough, project.folder)
    seat = choose_seat(flow_l_min, offered, project.trough.valve_head_limit_m)
    return seat.head_m, words("command.head_of_valve", head_m=seat.head_m, bore_mm=seat.bore_mm)


def _water(project: Project, holding: Holding, source: Source, flow_l_min: float) -> _Water:
    """Return the level of the water, with and without flow, and what it gives."""
    fill = filling_of(holding, source, project.supply)
    if fill is not None:
        # A tank gives any flow for a while; whether it is filled in the day is for the plan.
        level = tank_level_m(holding, source)
        reason = words("command.level_still", source=source.name, level_m=level)
        return _Water(level, level, np.inf, reason, fill.curve.warnings)
    curve = source_curve(holding, source, project.supply)
    level, still = float(curve.level_at_m(flow_l_min)), curve.still_level_m
    key = "command.level_main" if curve.falls else "command.level_still"
    reason = words(key, source=source.name, level_m=level, still_m=still, flow_l_min=flow_l_min)
    return _Water(level, still, curve.most_flow_l_min, reason, curve.warnings)


def _hydraulics(
    project: Project, size: PipeSize, flow_l_min: float
) -> tuple[float, float, float, float]:
    """Return loss a metre, loss in fittings [m], speed [m/s] and head of still water allowed."""
    pipe = project.pipe
    flow, bore_m = m3_s_from_l_min(flow_l_min), size.bore_mm / 1000.0
    loss, _slope = friction_law(pipe).loss_and_slope_per_metre(flow, bore_m)
    speed = float(velocity_m_s(flow, bore_m))
    warmth = wall_temperature_c(pipe, project.design)
    if pipe.surge:
        allowed = working_head_m(size, warmth) - float(surge_m(speed, size.sdr))
    else:
        allowed = working_head_without_surge_m(size, warmth)
    fittings = float(minor_loss_m(pipe.fittings_loss, flow, bore_m))
    return float(loss), fittings, speed, allowed


def _warnings(project: Project, case: CommandCase, water: _Water) -> list[str]:
    found = []
    if case.velocity_m_s > project.pipe.velocity_limit_m_s:
        found.append(words(
            "command.too_fast", velocity_m_s=case.velocity_m_s, pipe=case.pipe.name,
            limit_m_s=project.pipe.velocity_limit_m_s,
        ))  # fmt: skip
    if not case.enough:
        found.append(words(
            "command.too_little", source=case.source, most_l_min=water.most_l_min,
            flow_l_min=case.flow_l_min,
        ))  # fmt: skip
    elif np.isnan(water.most_l_min):
        found.append(words(
            "command.yield_unknown", source=case.source, flow_l_min=case.flow_l_min
        ))  # fmt: skip
    return found
