"""Height error of open elevation data: a correlated field, held to surveyed levels, simulated.

Only the difference of two heights makes a head, so what counts is how alike the errors are at
the two ends of a pipe, not how large they are.
"""

from dewpond.base.heighterror.classes import (
    assumed_class,
    assumption,
    class_of_posting,
    data_classes,
    height_error,
    published_error,
)
from dewpond.base.heighterror.correction import ExpectedError
from dewpond.base.heighterror.kriging import conditioned, kriging_weights
from dewpond.base.heighterror.model import (
    STEEP_SLOPE,
    ErrorPoints,
    HeightError,
    KnownLevels,
    covariance_m2,
)
from dewpond.base.heighterror.simulate import simulate_errors

__all__ = [
    "STEEP_SLOPE",
    "ErrorPoints",
    "ExpectedError",
    "HeightError",
    "KnownLevels",
    "assumed_class",
    "assumption",
    "class_of_posting",
    "conditioned",
    "covariance_m2",
    "data_classes",
    "height_error",
    "kriging_weights",
    "published_error",
    "simulate_errors",
]
