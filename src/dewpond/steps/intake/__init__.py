"""What the source of a scheme gives: its level against flow, and litres a day."""

from dewpond.steps.intake.measure import measure_intake

__all__ = ["measure_intake"]
