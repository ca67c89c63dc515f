"""Pipe that can be bought for a scheme, priced, and the laws it is sized by."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from dewpond.base.errors import Fault, InputError, nearest_name
from dewpond.base.friction import DarcyWeisbach, FrictionLaw, HazenWilliams
from dewpond.base.pipes import PipeSize, read_pipe_table
from dewpond.base.pipesizing import PipeOptions, SizingRules, make_options
from dewpond.base.settings import DesignSettings, PipeSettings
from dewpond.base.surface import FloatArray
from dewpond.base.water import water_at

# Wall of pipe in the sun and in a trench [°C]; common practice, no source.
_WALL_ON_SURFACE_C = 40.0
_WALL_IN_TRENCH_C = 20.0


@dataclass(frozen=True, eq=False)
class Offer:
    """What there is to choose from.

    Attributes
    ----------
    sizes : tuple of PipeSize
        Priced sizes of the materials asked for.
    options : PipeOptions
        The same as arrays, with the head each may carry at the wall temperature.
    rules : SizingRules
    wall_temperature_c : float
    existing_mm : float
        Size taken for pipe in the ground already where the map gives none.
    warnings : tuple of str
    """

    sizes: tuple[PipeSize, ...]
    options: PipeOptions
    rules: SizingRules
    wall_temperature_c: float
    existing_mm: float
    warnings: tuple[str, ...]

    def existing_options(self, size_mm: FloatArray) -> npt.NDArray[np.intp]:
        """Return the options that stand for pipe in the ground already, shape (pipes,).

        The strongest class of its size, that of the settings where it is NaN; -1 where the table
        has no such size.
        """
        outside_mm = np.array([size.outside_diameter_mm for size in self.sizes])
        classes = np.array([size.pressure_class_bar for size in self.sizes], dtype=float)
        wanted_mm = np.where(np.isnan(size_mm), self.existing_mm, size_mm)
        fits = np.isclose(outside_mm[None, :], wanted_mm[:, None], atol=0.05)
        strongest = np.where(fits, classes[None, :], -np.inf).argmax(axis=1)
        return np.where(fits.any(axis=1), strongest, -1)


def make_offer(pipe: PipeSettings, design: DesignSettings, folder: Path) -> Offer:
    """Return the pipe to choose from.

    Raises
    ------
    InputError
        Faults of the tables; a material that the table does not name; no price for any size.
    """
    table = read_pipe_table(_within(folder, pipe.table), _within(folder, pipe.prices))
    _check_materials(pipe, table)
    wanted = [size for size in table if size.material in pipe.materials]
    priced = tuple(size for size in wanted if size.price_per_m is not None)
    if not priced:
        raise InputError([Fault(
            pipe.prices or "[pipe]",
            f"no price for any pipe of {', '.join(pipe.materials)}",
            expected="material, outside_diameter_mm and sdr as in the table of pipe",
        )])  # fmt: skip
    temperature_c = wall_temperature_c(pipe, design)
    return Offer(
        priced,
        make_options(priced, temperature_c),
        SizingRules(pipe.velocity_limit_m_s, pipe.surge, pipe.may_grow, friction_law(pipe)),
        temperature_c,
        pipe.existing_outside_diameter_mm,
        tuple(f"{size.name} has no price and was left out" for size in wanted
              if size.price_per_m is None),
    )  # fmt: skip


def wall_temperature_c(pipe: PipeSettings, design: DesignSettings) -> float:
    """Return the temperature of the wall that the pressure class is derated for [°C]."""
    if pipe.wall_temperature_c is not None:
        return pipe.wall_temperature_c
    return _WALL_ON_SURFACE_C if design.laying == "surface" else _WALL_IN_TRENCH_C


def friction_law(pipe: PipeSettings) -> FrictionLaw:
    """Return the law of friction that the settings name."""
    if pipe.friction == "Hazen-Williams":
        return HazenWilliams(pipe.hazen_williams_c)
    water = water_at(pipe.water_temperature_c)
    return DarcyWeisbach(water.kinematic_viscosity_m2_s, pipe.roughness_mm / 1000.0)


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
