"""What the settings say of pipe: the law of friction, and how warm its wall gets."""

from __future__ import annotations

from pathlib import Path

from dewpond.base.errors import Fault, InputError, nearest_name
from dewpond.base.friction import DarcyWeisbach, FrictionLaw, HazenWilliams
from dewpond.base.pipes.table import PipeSize, read_pipe_table
from dewpond.base.settings import DesignSettings, PipeSettings
from dewpond.base.water import water_at

# Wall of pipe in the sun and in a trench [°C]; common practice, no source.
_WALL_ON_SURFACE_C = 40.0
_WALL_IN_TRENCH_C = 20.0


def friction_law(pipe: PipeSettings) -> FrictionLaw:
    """Return the law of friction that the settings name."""
    if pipe.friction == "Hazen-Williams":
        return HazenWilliams(pipe.hazen_williams_c)
    water = water_at(pipe.water_temperature_c)
    return DarcyWeisbach(water.kinematic_viscosity_m2_s, pipe.roughness_mm / 1000.0)


def wall_temperature_c(pipe: PipeSettings, design: DesignSettings) -> float:
    """Return the temperature of the wall that the pressure class is derated for [°C]."""
    if pipe.wall_temperature_c is not None:
        return pipe.wall_temperature_c
    return _WALL_ON_SURFACE_C if design.laying == "surface" else _WALL_IN_TRENCH_C


def pipe_of_materials(pipe: PipeSettings, folder: Path) -> tuple[PipeSize, ...]:
    """Return the sizes of the materials that the settings name, priced or not.

    Raises
    ------
    InputError
        Faults of the tables; a material that the table does not name.
    """
    table = read_pipe_table(_within(folder, pipe.table), _within(folder, pipe.prices))
    _check_materials(pipe, table)
    return tuple(size for size in table if size.material in pipe.materials)


def _within(folder: Path, name: str | None) -> Path | None:
    return None if name is None else folder / name


def _check_materials(pipe: PipeSettings, table: tuple[PipeSize, ...]) -> None:
    known = list(dict.fromkeys(size.material for size in table))
    faults = [
        Fault("[pipe] materials", f'the table of pipe has no "{material}"',
              remedy=nearest_name(material, known))
        for material in pipe.materials
        if material not in known
    ]  # fmt: skip
    if not pipe.materials:
        faults.append(Fault("[pipe] materials", "is empty", remedy=nearest_name("", known)))
    if faults:
        raise InputError(faults)
