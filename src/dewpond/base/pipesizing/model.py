"""What is sized, from what, by which rules, and what comes out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from dewpond.base.friction import DarcyWeisbach, FrictionLaw
from dewpond.base.model import Proof
from dewpond.base.pipes import PipeSize, working_head_m
from dewpond.base.surface import FloatArray

IntArray = npt.NDArray[np.intp]
BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Checks:
    """Places where the head must not fall below a level: outlets, summits, tank inlets.

    Attributes
    ----------
    pipe : array of int, shape (checks,)
    fraction : array of float, shape (checks,)
        How far along its pipe each place lies, 0 at the start, 1 at the end.
    level_m : array of float, shape (cases, checks)
        Least total head there [m]; -inf in cases that ask nothing of the place.
    kind : tuple of str, length checks
        For messages: "outlet", "summit" and the like.
    """

    pipe: IntArray
    fraction: FloatArray
    level_m: FloatArray
    kind: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class PipeTree:
    """The tree to be sized under its load cases; a parent stands before its children.

    Attributes
    ----------
    parent : array of int, shape (pipes,)
        Pipe upstream, -1 at a source.
    length_m, minor_loss : array of float, shape (pipes,)
        Length and sum of loss coefficients K.
    highest_static_head_m : array of float, shape (pipes,)
        Highest head with no flow anywhere along each pipe [m].
    flow_m3_s : array of float, shape (cases, pipes)
        Design flow in each load case, not negative.
    start_level_m : array of float, shape (cases, pipes)
        Total head [m] that a source, a break tank or a reducing valve holds at the start of a
        pipe; NaN where the pipe goes on from its parent. Never NaN where the parent is -1.
    checks : Checks
    fixed_option : array of int, shape (pipes,), optional
        The one option a pipe may have, one in the ground already for instance; -1 leaves the
        choice.
    in_order : array of bool, shape (pipes,), optional
        False for a pipe that may be wider than its parent whatever the rules say.
    priced_length_m : array of float, shape (pipes,), optional
        Length to be paid for; the whole length by default.

    Raises
    ------
    ValueError
        Arrays that do not fit each other, or a parent after its child.
    """

    parent: IntArray
    length_m: FloatArray
    minor_loss: FloatArray
    highest_static_head_m: FloatArray
    flow_m3_s: FloatArray
    start_level_m: FloatArray
    checks: Checks
    fixed_option: IntArray | None = None
    in_order: BoolArray | None = None
    priced_length_m: FloatArray | None = None

    def __post_init__(self) -> None:
        pipes, cases = len(self.parent), len(self.flow_m3_s)
        one_a_pipe = (self.length_m, self.minor_loss, self.highest_static_head_m)
        optional = (self.fixed_option, self.in_order, self.priced_length_m)
        given = [array for array in optional if array is not None]
        if any(array.shape != (pipes,) for array in (*one_a_pipe, *given)):
            raise ValueError("one length, loss coefficient and static head is needed a pipe")
        if any(array.shape != (cases, pipes) for array in (self.flow_m3_s, self.start_level_m)):
            raise ValueError("flows and start levels must have the shape (cases, pipes)")
        if not (self.parent < np.arange(pipes)).all() or (self.parent < -1).any():
            raise ValueError("a pipe stands before its parent")
        if np.isnan(self.start_level_m[:, self.parent < 0]).any():
            raise ValueError("a pipe has neither a parent nor a level at its start")
        if not ((self.flow_m3_s >= 0).all() and (self.length_m > 0).all()):
            raise ValueError("flows must not be negative and lengths must be positive")
        checks, count = self.checks, len(self.checks.pipe)
        if checks.level_m.shape != (cases, count) or len(checks.kind) != count:
            raise ValueError("the checks do not fit the cases or each other")
        if count and not (checks.pipe.min() >= 0 and checks.pipe.max() < pipes):
            raise ValueError("a check lies on a pipe that is not there")


@dataclass(frozen=True, eq=False)
class PipeOptions:
    """Pipe to choose from, each array of shape (options,)."""

    outside_diameter_m: FloatArray
    bore_m: FloatArray
    sdr: FloatArray
    price_per_m: FloatArray
    working_head_m: FloatArray


@dataclass(frozen=True, eq=False)
class SizingRules:
    """What a choice must keep to, and how hard to search.

    Attributes
    ----------
    velocity_limit_m_s : float
        Fastest flow at design flow; 5 ft/s (1.524 m/s) in NRCS practice (from memory).
    surge : bool
        Whether Joukowsky's rise, at the design speed in the option, is added to static head.
    may_grow : bool
        Whether a pipe may be wider than the one before it.
    friction : FrictionLaw
        Roughness one value for all.
    gap : float
        Share of the cost that may be left unproven; 0 proves the least.
    time_limit_s : float
    """

    velocity_limit_m_s: float = 1.5
    surge: bool = True
    may_grow: bool = False
    friction: FrictionLaw = field(default_factory=DarcyWeisbach)
    gap: float = 0.0
    time_limit_s: float = 60.0


@dataclass(frozen=True)
class Shortfall:
    """A requirement that no choice of pipe can meet, with the best figure that can be had.

    Attributes
    ----------
    requirement : str
        "pressure class", "velocity", "size order", or the kind of the check.
    pipe : int
    check : int
        Position among the checks, -1 for a requirement of a whole pipe.
    case : int
        Load case that is worst, -1 where it does not depend on one.
    figure, limit : float
        The best that any pipe offered can do, and what is asked.
    unit : str
    """

    requirement: str
    pipe: int
    check: int
    case: int
    figure: float
    limit: float
    unit: str


@dataclass(frozen=True, eq=False)
class Sizing:
    """The choice, or why there is none.

    Attributes
    ----------
    option : array of int, shape (pipes,), or None
        Chosen option of each pipe; None where nothing fits.
    head_m : array of float, shape (cases, checks)
        Total head at the checks: of the choice, or with the best pipe everywhere.
    shortfalls : tuple of Shortfall
        Every requirement that fails; empty where there is a choice.
    raise_m : float
        How much higher the start levels would have to be for every check to hold, with the
        widest pipe; 0 where head is not what fails.
    class_headroom_m : float
        How much higher the static head could be before some pipe found no class.
    proof : Proof
        Cost of the choice and the least possible; NaN where there is none.
    """

    option: IntArray | None
    head_m: FloatArray
    shortfalls: tuple[Shortfall, ...]
    raise_m: float
    class_headroom_m: float
    proof: Proof


def make_options(sizes: Sequence[PipeSize], temperature_c: float = 20.0) -> PipeOptions:
    """Return priced pipe sizes as arrays, with the head each may carry at a wall temperature.

    Raises
    ------
    ValueError
        A size without a price, or no size at all.
    """
    if not sizes:
        raise ValueError("no pipe to choose from")
    unpriced = [size.name for size in sizes if size.price_per_m is None]
    if unpriced:
        raise ValueError(f"no price for {', '.join(unpriced)}")
    columns = [
        (
            size.outside_diameter_mm / 1000.0,
            size.bore_mm / 1000.0,
            size.sdr,
            size.price_per_m,
            working_head_m(size, temperature_c),
        )
        for size in sizes
    ]
    return PipeOptions(*np.array(columns, dtype=float).T)
