"""The source and what is asked of it, gathered once for judgements and remedies."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dewpond.base.filling import Fill, filling_of
from dewpond.base.model import Heads, Holding, Intake, Network, Sizes, Source, Watering
from dewpond.base.settings import DesignSettings, SupplySettings, TroughSettings
from dewpond.base.settings.water import PumpSettings
from dewpond.base.sources import SourceCurve, pump_place, source_curve
from dewpond.base.units import MINUTES_PER_HOUR
from dewpond.steps.supply.need import Need
from dewpond.steps.supply.tank import TankDay, size_hauled_tank, size_tank


@dataclass(frozen=True, eq=False)
class Case:
    """A source held against a scheme.

    Attributes
    ----------
    curve : SourceCurve
        Of the water that the scheme's source draws on: its own, or that which fills its tank.
    fill : Fill or None
        None where the scheme draws on the source directly.
    """

    holding: Holding
    network: Network
    heads: Heads
    watering: Watering
    source: Source
    intake: Intake
    sizes: Sizes
    need: Need
    curve: SourceCurve
    fill: Fill | None
    supply: SupplySettings
    trough: TroughSettings
    design: DesignSettings

    @property
    def most_flow_l_min(self) -> float:
        """Greatest flow that the scheme can draw [L/min]; inf from a tank, NaN if not measured."""
        return np.inf if self.fill is not None else self.curve.most_flow_l_min

    @property
    def level_m(self) -> float:
        """Level at the source under the design flow, or under the most that it gives [m].

        Past that a main has no pressure left to speak of: what is missing there is water.
        """
        flow = float(np.fmin(self.need.flow_l_min, self.most_flow_l_min))
        return float(self.intake.level_at_m(flow))

    @property
    def lack_m(self) -> float:
        """Head that is missing at the source under the design flow [m]; negative is to spare."""
        return self.need.level_m - self.level_m

    @property
    def pump(self) -> PumpSettings | None:
        """The pump at work, filling the tank or pushing through the scheme."""
        if pump_place(self.source) == "direct":
            return self.source.settings.pump
        return self.fill.pump if self.fill is not None else None

    @property
    def by_sun(self) -> bool:
        """Whether the tank is filled by a solar pump."""
        filled = self.fill is not None and self.fill.pump is not None
        return filled and self.pump is not None and self.pump.power == "solar"

    @property
    def mains(self) -> Source | None:
        """The main that the water comes from, None for private water."""
        if self.source.settings.kind == "mains":
            return self.source
        name = self.source.settings.fed_by
        for source in self.holding.sources:
            if source.name == name and source.settings.kind == "mains":
                return source
        return None

    @property
    def fill_flow_l_min(self) -> float:
        """Flow that brings the day's water within the hours of filling [L/min]."""
        hours = self.fill.hours if self.fill is not None else 24.0
        return self.need.daily_l / (hours * MINUTES_PER_HOUR)

    @property
    def tank(self) -> TankDay | None:
        """The tank that the scheme takes at its source, None where it draws directly."""
        if self.fill is None:
            return None
        if self.source.settings.kind == "bowser":
            return size_hauled_tank(self.need.daily_l, self.supply.bowser_l, self.supply)
        flow = self.fill.flow_l_min
        return size_tank(self.need.daily_l, flow, self.fill.hours, self.supply, self.by_sun)


def make_case(
    holding: Holding,
    network: Network,
    heads: Heads,
    watering: Watering,
    intake: Intake,
    sizes: Sizes,
    need: Need,
    supply: SupplySettings,
    trough: TroughSettings,
    design: DesignSettings,
) -> Case:
    """Gather a case."""
    source = holding.sources[network.source]
    fill = filling_of(holding, source, supply)
    curve = fill.curve if fill is not None else source_curve(holding, source, supply)
    return Case(
        holding, network, heads, watering, source, intake, sizes, need, curve, fill, supply,
        trough, design,
    )  # fmt: skip
