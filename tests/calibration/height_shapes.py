"""Errors laid on the ground: the model's own shape and others, made without the package's code."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial.distance import cdist

# Figures of the 30 m radar surface, worked by hand from 4 m and 2 m (4 m on steep ground) LE90.
SIGMA_M = 4 / 1.6449
LONG_SHARE = 0.875
STEEP_SLOPE, STEEP_FACTOR = 0.20, 2.0


@dataclass(frozen=True)
class Part:
    """One part of an error: share of the variance, shape and practical range."""

    share: float
    kind: str
    range_m: float = 1.0
    steeper: bool = False  # grows on steep ground

    def correlation(self, distance_m: np.ndarray) -> np.ndarray:
        ratio = distance_m / self.range_m
        if self.kind == "exponential":
            return np.exp(-3 * ratio)
        if self.kind == "gaussian":
            return np.exp(-3 * ratio**2)
        if self.kind == "spherical":
            return np.where(ratio < 1, 1 - 1.5 * ratio + 0.5 * ratio**3, 0.0)
        assert self.kind == "white"
        return (distance_m == 0).astype(float)


@dataclass(frozen=True)
class Shape:
    """How an error really is, whatever the planner takes it for."""

    name: str
    parts: tuple[Part, ...]
    sigma_m: float = SIGMA_M
    woods: bool = False


def _with(short: tuple[Part, ...], long_share: float = LONG_SHARE) -> tuple[Part, ...]:
    return (*short, Part(long_share, "exponential", 50_000.0))


def _short(kind: str, range_m: float = 120.0, share: float = 1 - LONG_SHARE) -> Part:
    return Part(share, kind, range_m, steeper=True)


SHAPES = {
    shape.name: shape
    for shape in (
        Shape("as assumed", _with((_short("exponential"),))),
        Shape("gaussian", _with((_short("gaussian"),))),
        Shape("spherical", _with((_short("spherical"),))),
        Shape("white", _with((_short("white"),))),
        Shape("range a third", _with((_short("exponential", 40.0),))),
        Shape("range threefold", _with((_short("exponential", 360.0),))),
        Shape(
            "nested",
            _with((
                _short("exponential", 60.0, 0.04), _short("spherical", 300.0, 0.045),
                _short("gaussian", 3_000.0, 0.04),
            )),
        ),
        Shape("half common", _with((_short("exponential", share=0.5),), 0.5)),
        Shape("nothing common", (_short("exponential", share=1.0),)),
        Shape("half as large again", _with((_short("exponential"),)), sigma_m=1.5 * SIGMA_M),
        Shape("woods and hedges", _with((_short("exponential"),)), woods=True),
        Shape("no error but posting", (), sigma_m=0.0),
    )
}  # fmt: skip


def draw_error(
    shape: Shape,
    easting: np.ndarray,
    northing: np.ndarray,
    slope: np.ndarray,
    random: np.random.Generator,
) -> np.ndarray:
    """Return an error [m] at each place, shape (n,), by the factor of the whole covariance."""
    places = np.column_stack([easting, northing])
    distance = cdist(places, places)
    covariance = np.zeros_like(distance)
    factor = np.where(slope > STEEP_SLOPE, STEEP_FACTOR, 1.0)
    for part in shape.parts:
        more = np.outer(factor, factor) if part.steeper else 1.0
        covariance += part.share * more * part.correlation(distance)
    covariance += 1e-7 * np.eye(len(places))
    noise = random.standard_normal(len(places))
    error = shape.sigma_m * (np.linalg.cholesky(covariance) @ noise) if shape.parts else 0 * noise
    if shape.woods:
        error = error + _woods(places, random)
    return error


def _woods(places: np.ndarray, random: np.random.Generator) -> np.ndarray:
    """Return tops of trees that a radar surface keeps: round copses, 4 to 10 m, on 8 % of it."""
    low, high = places.min(axis=0), places.max(axis=0)
    area = float(np.prod(high - low))
    tops = np.zeros(len(places))
    covered = 0.0
    while covered < 0.08 * area:
        radius = random.uniform(20.0, 70.0)
        middle = random.uniform(low, high)
        inside = np.hypot(*(places - middle).T) < radius
        tops[inside] = np.maximum(tops[inside], random.uniform(4.0, 10.0))
        covered += np.pi * radius**2
    return tops
