"""Step: the fewest outlets that bring every grazed cell within reach of water."""

from dewpond.steps.siting.choose import choose_outlets

__all__ = ["choose_outlets"]
