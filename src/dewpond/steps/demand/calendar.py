"""The stocking calendar: how each mob stands in each month, and the month of its peak."""

from __future__ import annotations

from dataclasses import dataclass

from dewpond.base.model import Mob
from dewpond.base.settings import MobSettings, PeriodSettings

MONTHS = tuple(range(1, 13))
MONTH_NAMES = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December",
)  # fmt: skip


@dataclass(frozen=True)
class State:
    """A mob in a month: the settings that hold then, and what drinks besides.

    Attributes
    ----------
    settings : MobSettings
        With the values of the month put in; head of the mob itself where it is away, see `away`.
    away : bool
    young : MobSettings or None
        The young, where they count apart.
    paddocks : tuple of int
        Grazed in that month.
    month : int
        1 to 12; 0 for a mob without periods.
    """

    settings: MobSettings
    away: bool
    young: MobSettings | None
    paddocks: tuple[int, ...]
    month: int = 0


def states(mob: Mob) -> tuple[State, ...]:
    """Return the state of a mob in January to December; one state for a mob without periods."""
    settings = mob.settings
    if not settings.period:
        return (State(settings, False, None, mob.paddocks),)
    by_month = {month: period for period in settings.period for month in period.months}
    return tuple(
        _state(settings, by_month.get(month), month, mob.by_month[month - 1]) for month in MONTHS
    )


def _state(
    mob: MobSettings, period: PeriodSettings | None, month: int, paddocks: tuple[int, ...]
) -> State:
    if period is None:
        return State(mob, False, None, paddocks, month)
    changes: dict[str, object] = {
        key: value
        for key in ("head", "weight_kg", "lactating")
        if (value := getattr(period, key)) is not None
    }
    away = changes.get("head") == 0
    if away:
        changes.pop("head")
    settings = mob.model_copy(update=changes)
    young = None if away else _young(settings, period, month)
    return State(settings, away, young, paddocks, month)


def _young(mob: MobSettings, period: PeriodSettings, month: int) -> MobSettings | None:
    """Return the young where they count apart.

    The figure of a mob in milk holds its young at foot until the age set for it; weaned, or
    with no month of birth given, they count whatever their age.
    """
    if not period.young_head:
        return None
    if mob.lactating and mob.young_born_month is not None:
        age_months = (month - mob.young_born_month) % 12
        if age_months < mob.young_counted_apart_after_months:
            return None
    return mob.model_copy(
        update={
            "head": period.young_head,
            "weight_kg": period.young_weight_kg,
            "lactating": False,
            "stock_class": None,
        }
    )
