"""A scheme that cannot serve every outlet, sized for those that it can serve."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from dewpond.base.settings import PipeSettings
from dewpond.steps.sizing.choose import Choice, choose
from dewpond.steps.sizing.offer import Offer
from dewpond.steps.sizing.scheme import BoolArray, Scheme

_HEAD = ("outlet", "summit")


def ease(
    scheme: Scheme, choice: Choice, offer: Offer, pipe: PipeSettings
) -> tuple[Scheme, Choice] | None:
    """Return the scheme without the outlets that no pipe brings water to, and its choice.

    Outlets whose head fails under the best pipe, and those beyond a rise that water does not
    pass, are let go until some pipe serves all that are left; at a rise that it passes, but not
    with the margin, the margin is. None where that leaves no outlet, or something else fails.
    """
    eased = scheme
    while choice.sizing.option is None:
        dry, bare = _rises(eased, choice, pipe.summit_margin_m)
        reached = eased.reached & ~_short(eased, choice, dry)
        same = (reached == eased.reached).all() and (bare == eased.bare).all()
        if same or not reached.any():
            return None
        eased = replace(eased, reached=reached, used=eased.used & reached, bare=bare)
        choice = choose(eased, offer, pipe)
    return eased, choice


def head_only(choice: Choice) -> Choice:
    """Return a choice that failed, with what it lacks in head alone."""
    missed = tuple(item for item in choice.sizing.shortfalls if item.requirement in _HEAD)
    return replace(choice, sizing=replace(choice.sizing, shortfalls=missed))


def _rises(scheme: Scheme, choice: Choice, margin_m: float) -> tuple[BoolArray, BoolArray]:
    """Return pipes (pipes,) with a rise that no water passes, and those where the margin goes."""
    dry, bare = np.zeros(len(scheme.pipes), dtype=bool), scheme.bare.copy()
    for item in choice.sizing.shortfalls:
        if item.requirement != "summit":
            continue
        pipe = choice.stretches.pipe[item.pipe]
        if scheme.bare[pipe] or item.figure < item.limit - margin_m:
            dry[pipe] = True
        bare[pipe] = True
    return dry, bare


def _short(scheme: Scheme, choice: Choice, dry: BoolArray) -> BoolArray:
    """Return which outlets (outlets,) lack head, or lie beyond ground that does."""
    lost = np.zeros(len(scheme.outlets), dtype=bool)
    for item in choice.sizing.shortfalls:
        if item.requirement == "outlet":
            lost[choice.stretches.check_outlet[item.check]] = True
    for pipe, above in enumerate(scheme.parent.tolist()):
        dry[pipe] |= above >= 0 and dry[above]
    by_pipe = scheme.outlet_pipe >= 0
    lost[by_pipe] |= dry[scheme.outlet_pipe[by_pipe]]
    return lost
