"""How a long step tells the caller how far it is, without knowing who listens."""

from __future__ import annotations

from collections.abc import Callable

Progress = Callable[[float], None]
"""Called by one step with the share of its work that is done, 0 to 1."""

StageProgress = Callable[[str, float], None]
"""Called by a plan with the name of the stage and the share of it that is done, 0 to 1."""


def ignore_stages(stage: str, share: float) -> None:
    """Tell nobody."""
