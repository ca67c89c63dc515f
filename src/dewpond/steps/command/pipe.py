"""The one pipe that is tried: as asked for, or the narrowest that will do."""

from __future__ import annotations

from collections.abc import Sequence

from dewpond.base.errors import Fault
from dewpond.base.friction import velocity_m_s
from dewpond.base.pipes import PipeSize
from dewpond.base.pipes.rules import friction_law, pipe_of_materials
from dewpond.base.settings import Project
from dewpond.base.units import m3_s_from_l_min
from dewpond.base.words import words

_WHERE = "[command_area]"
_SAME_MM, _SAME = 0.05, 0.01


def choose_pipe(
    project: Project, flow_l_min: float, faults: list[Fault]
) -> tuple[PipeSize | None, str]:
    """Return the pipe and how it was chosen; None after noting that the table does not hold it.

    Left to itself it is the narrowest, of the strongest class of its diameter, that loses no more
    than the allowance for friction and keeps within the fastest flow.
    """
    settings = project.command_area
    pipe = project.pipe
    if settings.material is not None:
        pipe = pipe.model_copy(update={"materials": [settings.material]})
    sizes = pipe_of_materials(pipe, project.folder)
    wanted = _wanted(project, sizes, faults)
    if not wanted:
        return None, ""
    strongest = _strongest_of_each(wanted)
    if settings.outside_diameter_mm is not None:
        size = strongest[0]
        return size, words("command.pipe_asked", pipe=size.name, bore_mm=size.bore_mm)
    allowance, limit = project.supply.friction_allowance_m_per_100_m, pipe.velocity_limit_m_s
    flow, law = m3_s_from_l_min(flow_l_min), friction_law(pipe)
    values = {"allowance_m": allowance, "limit_m_s": limit}
    for size in strongest:
        loss, _slope = law.loss_and_slope_per_metre(flow, size.bore_mm / 1000.0)
        speed = float(velocity_m_s(flow, size.bore_mm / 1000.0))
        if 100.0 * float(loss) <= allowance and speed <= limit:
            reason = words("command.pipe_least", pipe=size.name, bore_mm=size.bore_mm, **values)
            return size, reason
    size = strongest[-1]
    return size, words("command.pipe_widest", pipe=size.name, bore_mm=size.bore_mm, **values)


def _wanted(project: Project, sizes: Sequence[PipeSize], faults: list[Fault]) -> list[PipeSize]:
    """Return the sizes with the diameter, class and SDR asked for, or note what there is."""
    settings = project.command_area
    left = list(sizes)
    for key, unit, value, allowed in (
        ("outside_diameter_mm", "mm", settings.outside_diameter_mm, _SAME_MM),
        ("pressure_class_bar", "bar", settings.pressure_class_bar, _SAME),
        ("sdr", "", settings.sdr, _SAME),
    ):
        if value is None:
            continue
        kept = [size for size in left if abs(getattr(size, key) - value) <= allowed]
        if not kept:
            offered = sorted({getattr(size, key) for size in left})
            faults.append(Fault(
                f"{_WHERE} {key}", "the table of pipe has none like it",
                f"{value:g} {unit}".strip(),
                f"one of {', '.join(f'{item:g}' for item in offered)}",
            ))  # fmt: skip
            return []
        left = kept
    return left


def _strongest_of_each(sizes: Sequence[PipeSize]) -> list[PipeSize]:
    """Return the strongest pipe of each diameter, narrowest first; first material of equals."""
    best: dict[float, PipeSize] = {}
    for size in sizes:
        known = best.get(size.outside_diameter_mm)
        if known is None or size.pressure_class_bar > known.pressure_class_bar:
            best[size.outside_diameter_mm] = size
    return [best[diameter] for diameter in sorted(best)]
