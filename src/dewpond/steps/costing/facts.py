"""What the take-off is made from: the values of one scheme."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from dewpond.base.model import (
    Candidates,
    Heads,
    Holding,
    Isolation,
    Network,
    Sizes,
    Source,
    Supply,
    Watering,
)
from dewpond.base.price_list import PriceList
from dewpond.base.settings import Project


@dataclass(frozen=True, eq=False)
class Facts:
    """The values of one scheme that its quantities are counted from."""

    holding: Holding
    candidates: Candidates
    network: Network
    heads: Heads
    watering: Watering
    isolation: Isolation
    sizes: Sizes
    supply: Supply
    settings: Project
    prices: PriceList

    @property
    def source(self) -> Source:
        """The source in use."""
        return self.holding.sources[self.network.source]

    @cached_property
    def diameter_mm(self) -> pd.Series:
        """Outside diameter by pipe [mm], NaN where none will do."""
        sizes = self.sizes.pipes["outside_diameter_mm"]
        return sizes.astype(float).reindex(self.network.pipes.index)

    @cached_property
    def length_m(self) -> pd.Series:
        """Length by pipe, to the centimetre as the result files give it [m]."""
        return self.network.pipes["length_m"].astype(float).round(2)

    @cached_property
    def is_new(self) -> pd.Series:
        """Whether each pipe is to be laid."""
        return self.network.pipes["laying"] != "existing"

    @cached_property
    def unsized(self) -> list[str]:
        """New pipes for which no size on offer will do."""
        return [str(pipe) for pipe in self.is_new.index[self.is_new & self.diameter_mm.isna()]]

    @cached_property
    def outlets(self) -> list[str]:
        """Names of the outlets to be made: those that pipe reaches and that are not there yet."""
        nodes, sites = self.network.nodes, self.candidates.sites
        rows = nodes[nodes["kind"] == "outlet"]
        kinds = sites["kind"].reindex(rows["site"]).to_numpy()
        return [str(name) for name in rows.index[kinds != "existing"]]

    @cached_property
    def feeding(self) -> dict[str, str]:
        """The pipe that leads to each node but the source."""
        ends = self.network.pipes["to_node"]
        return {str(end): str(pipe) for pipe, end in ends.items()}

    @cached_property
    def leaving(self) -> dict[str, list[str]]:
        """The pipes that leave each node, in order outward."""
        found: dict[str, list[str]] = {}
        for pipe, start in self.network.pipes["from_node"].items():
            found.setdefault(str(start), []).append(str(pipe))
        return found

    def widest_mm(self, pipes: list[str]) -> float:
        """Return the widest of some pipes [mm], NaN where none has a size."""
        sizes = [size for size in self.diameter_mm[pipes] if math.isfinite(size)]
        return float(max(sizes)) if sizes else np.nan
