"""Walking distance over the ground from every candidate site to every grazed cell."""

from dewpond.steps.walking.measure import measure_walks

__all__ = ["measure_walks"]
