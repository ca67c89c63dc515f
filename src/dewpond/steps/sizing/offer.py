"""Pipe that can be bought for a scheme, priced, and the laws it is sized by."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from dewpond.base.errors import Fault, InputError
from dewpond.base.pipes import PipeSize
from dewpond.base.pipes.rules import friction_law, pipe_of_materials, wall_temperature_c
from dewpond.base.pipesizing import PipeOptions, SizingRules, make_options
from dewpond.base.settings import DesignSettings, PipeSettings
from dewpond.base.surface import FloatArray
from dewpond.base.words import words


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
    wanted = pipe_of_materials(pipe, folder)
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
        tuple(words("sizing.offer.no_price", name=size.name) for size in wanted
              if size.price_per_m is None),
    )  # fmt: skip
