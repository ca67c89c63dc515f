"""How much of a pipe is laid along fences, along tracks and over open ground."""

from __future__ import annotations

from collections.abc import Iterable

LAYINGS = ("fence", "track", "open ground")
"""Kinds of laying of new pipe."""


def laid_m(runs: Iterable[tuple[str, float]], length_m: float) -> dict[str, float]:
    """Return the metres of a pipe laid in each way, to the centimetre.

    Parameters
    ----------
    runs : iterable of (str, float)
        Kind and metres, as ``laying_m`` of `Network.pipes`; kinds share the length as they share
        their sum. Pipe that is there already is not laid.
    length_m : float
        Length along the ground [m].
    """
    sums = dict.fromkeys(LAYINGS, 0.0)
    total = 0.0
    for kind, metres in runs:
        total += metres
        if kind in sums:
            sums[kind] += metres
    if total <= 0.0:
        return sums
    return {kind: round(metres * length_m / total, 2) for kind, metres in sums.items()}
