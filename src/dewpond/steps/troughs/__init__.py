"""How stock drink at each outlet, and the trough and float valve it takes."""

from dewpond.steps.troughs.choose import choose_troughs

__all__ = ["choose_troughs"]
