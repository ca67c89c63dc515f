"""A scheme that cannot serve every outlet, sized for those that it can serve."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from dewpond.base.settings import PipeSettings
from dewpond.steps.sizing.choose import Choice, choose
from dewpond.steps.sizing.offer import Offer
from dewpond.steps.sizing.scheme import BoolArray, Scheme

_HEAD, _CLASS = ("outlet", "summit"), "pressure class"


def ease(
    scheme: Scheme, choice: Choice, offer: Offer, pipe: PipeSettings
) -> tuple[Scheme, Choice] | None:
    """Return the scheme without the outlets that no pipe brings water to, and its choice.

    Outlets whose head fails under the best pipe, and those beyond a rise that water does not
    pass, are let go until some pipe serves all that are left; at a rise that it passes, but not
    with the margin, the margin is. Where no class bears a hollow and no break can stand before
    it, the highest of the outlets beyond is let go, then the next, for it is their height that
    keeps the level up; pipe that leads to no other is left out. None where that leaves no
    outlet, or something else fails.
    """
    eased = scheme
    while choice.sizing.option is None:
        lower = _without_head(eased, choice, pipe.summit_margin_m) or _less_pressed(eased, choice)
        if lower is None or not lower.reached.any():
            return None
        eased = lower
        choice = choose(eased, offer, pipe)
    return eased, choice


def of_the_lost(choice: Choice, eased: Scheme) -> Choice:
    """Return a choice that failed, with what it lacks in head and, where pipe is left out, class.

    Of the pipes pressed beyond their class only those left out are told: others are broken.
    """
    laid = eased.laid
    missed = tuple(
        item
        for item in choice.sizing.shortfalls
        if item.requirement in _HEAD
        or (item.requirement == _CLASS and not laid[choice.stretches.pipe[item.pipe]])
    )
    return replace(choice, sizing=replace(choice.sizing, shortfalls=missed))


def _without_head(scheme: Scheme, choice: Choice, margin_m: float) -> Scheme | None:
    """Return the scheme without the outlets that lack head; None where that changes nothing."""
    dry, bare = _rises(scheme, choice, margin_m)
    reached = scheme.reached & ~_short(scheme, choice, dry)
    if (reached == scheme.reached).all() and (bare == scheme.bare).all():
        return None
    return replace(scheme, reached=reached, used=scheme.used & reached, bare=bare)


def _less_pressed(scheme: Scheme, choice: Choice) -> Scheme | None:
    """Return the scheme without the highest outlet beyond pipe that no class bears."""
    pipes = choice.stuck or tuple(
        int(choice.stretches.pipe[item.pipe])
        for item in choice.sizing.shortfalls
        if item.requirement == _CLASS
    )
    beyond = np.isin(np.arange(len(scheme.pipes)), pipes)
    for pipe, above in enumerate(scheme.parent.tolist()):
        beyond[pipe] |= above >= 0 and beyond[above]
    open_to = scheme.reached & (scheme.outlet_pipe >= 0)
    open_to[open_to] &= beyond[scheme.outlet_pipe[open_to]]
    if not open_to.any():
        return None
    lost = np.zeros(len(scheme.outlets), dtype=bool)
    lost[np.argmax(np.where(open_to, scheme.outlet_level_m, -np.inf))] = True
    reached = scheme.reached & ~lost
    return replace(
        scheme, reached=reached, used=scheme.used & reached, pressed=scheme.pressed | lost
    )


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
