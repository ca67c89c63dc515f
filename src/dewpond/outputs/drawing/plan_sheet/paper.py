"""Paper that a plan is printed on, and the round scales that a scale rule reads."""

from __future__ import annotations

from dataclasses import dataclass

from dewpond.base.measures import System

Extent = tuple[float, float, float, float]
"""West, south, east, north [m], or left, bottom, right, top [mm on the paper]."""

MM_PER_INCH = 25.4
MM_PER_POINT = MM_PER_INCH / 72.0

_METRIC_SCALES = (
    500, 1000, 1250, 2000, 2500, 5000, 7500, 10_000, 12_500, 20_000, 25_000, 50_000, 75_000,
    100_000,
)  # fmt: skip
"""1, 2 and 5 times a power of ten as ISO 5455:1979 prefers, and the 1:1250, 1:2500, 1:7500 of
surveys and of the common scale rule (cited from memory)."""
_FEET_TO_THE_INCH = (40, 50, 60, 100, 200, 300, 400, 500, 600, 1000, 2000, 4000, 6000)
"""Scales of the engineer's rule, divided in 10, 20, 30, 40, 50 and 60 parts to the inch."""

MARGIN_MM = 10.0


@dataclass(frozen=True)
class Paper:
    """A sheet of paper, lying on its long side, and where things stand on it.

    Attributes
    ----------
    name : str
    width_mm, height_mm : float
        ISO 216:2007, trimmed sizes.
    enlarged : float
        How much larger lettering and furniture are than on A4: a large sheet is read from
        farther away.
    """

    name: str
    width_mm: float
    height_mm: float
    enlarged: float

    @property
    def block_mm(self) -> Extent:
        """The title block, all along the foot."""
        return (
            MARGIN_MM, MARGIN_MM, self.width_mm - MARGIN_MM, MARGIN_MM + 26.0 * self.enlarged,
        )  # fmt: skip

    @property
    def body_mm(self) -> Extent:
        """What stands above the title block."""
        foot = self.block_mm[3] + 3.0
        return MARGIN_MM, foot, self.width_mm - MARGIN_MM, self.height_mm - MARGIN_MM

    @property
    def panel_mm(self) -> Extent:
        """The panel with the legend, to the right of a map."""
        _, foot, right, top = self.body_mm
        return right - 62.0 * self.enlarged, foot, right, top

    @property
    def map_mm(self) -> Extent:
        """The frame of a map; round it is room for coordinates."""
        left, foot, _, top = self.body_mm
        ring = 4.5 * self.enlarged
        return left + ring, foot + ring, self.panel_mm[0] - 3.0 - ring, top - ring


PAPERS = {
    "A4": Paper("A4", 297.0, 210.0, 1.0),
    "A3": Paper("A3", 420.0, 297.0, 1.15),
    "A1": Paper("A1", 841.0, 594.0, 1.4),
}
"""From the smallest to the largest."""


def round_scales(system: System) -> tuple[int, ...]:
    """Return the denominators that a scale may have, the largest scale first."""
    if system == "metric":
        return _METRIC_SCALES
    return tuple(12 * feet for feet in _FEET_TO_THE_INCH)


def scale_text(scale: float, system: System) -> str:
    """Return a scale as printed, with feet to the inch where those come out whole.

    >>> scale_text(1200, "US customary")
    '1:1,200 (1 in = 100 ft)'
    """
    ratio = f"1:{scale:,.6g}" if scale < 1e6 and scale != int(scale) else f"1:{scale:,.0f}"
    if system == "US customary" and scale % 12 == 0:
        return f"{ratio} (1 in = {scale / 12:,.0f} ft)"
    return ratio
