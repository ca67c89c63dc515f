"""What a remedy mends, told apart from whether that is all that fails."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from dewpond.base.model import Remedy
from dewpond.base.words import words

_WORDS = {
    "flow": "the flow",
    "head": "the head",
    "delivered": "the flow delivered",
    "volume": "the water a day",
    "tank": "the tank",
    "suction": "the suction lift",
    "hauling": "the hauling",
    "air gap": "the air gap",
}


@dataclass(frozen=True)
class Offer:
    """Something to do.

    Attributes
    ----------
    action : str
        As an adviser would say it.
    mends : frozenset of str
        Judgements, by key, that would be met.
    figure : float
    unit : str
    """

    action: str
    mends: frozenset[str]
    figure: float
    unit: str


def offer(action: str, mends: Iterable[str], figure: float, unit: str) -> Offer:
    """Return an offer; what mends the head mends what is delivered as well."""
    keys = set(mends)
    return Offer(
        action, frozenset(keys | ({"delivered"} if "head" in keys else set())), figure, unit
    )


def as_remedy(offered: Offer, failing: Mapping[str, str]) -> Remedy:
    """Return a remedy that says what it leaves unmended; requirements that fail come by key."""
    left = [word for key, word in _WORDS.items() if key in failing.keys() - offered.mends]
    action = offered.action
    if left and offered.mends & failing.keys():
        action += words("remedies.offer.left_to_mend", listed=_listed(left))
    mends = tuple(words for key, words in failing.items() if key in offered.mends)
    return Remedy(action, not left, offered.figure, offered.unit, mends)


def hours_in_words(hours: float) -> str:
    """Return how long a tank fills in a day."""
    return (
        "day and night" if hours >= 24.0 else words("remedies.offer.in_hours_a_day", hours=hours)
    )


def _listed(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
