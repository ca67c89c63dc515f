"""How sure the plan made by hand is: figures that a chain of simulations would give."""

from __future__ import annotations

import numpy as np
import pandas as pd

from dewpond.base.model import Confidence, Heads, Network, Sizes

DEVIATION_M = 2.4  # of one level
NORMAL_95 = 1.6449


def make_confidence(network: Network, heads: Heads, sizes: Sizes) -> Confidence:
    """Return a scheme of which three outlets are safe and the top one works in 7 of 10 cases."""
    return Confidence(
        outlets=_outlets(sizes),
        requirements=pd.DataFrame(
            {"chance": [0.97, 0.71, 0.93, 1.0], "met": [True, True, True, True]},
            index=[
                "Water at rest stands above every outlet",
                "Every outlet gets its design flow with the mobs at their worst places",
                "Water stands over the ground along every pipe",
                "Pressure within the class of every pipe",
            ],
        ),
        chance_all=0.69,
        simulations=1000,
        assumed={
            "standard_deviation_m": DEVIATION_M,
            "short_range_m": 150.0,
            "long_range_m": 20000.0,
            "long_share": 0.875,
            "data_class": "open surface model",
            "source": "stated accuracy of the data, after the specification",
            "levels": 0.0,
            "random_state": 1.0,
        },
        bands=_bands(heads),
        survey=_survey(network, heads),
        influences=_influences(),
        design={
            "wanted": 0.9,
            "feasible": 1.0,
            "least_chance": 0.93,
            "chance_all": 0.92,
            "pipe_cost": 655.7,
            "extra_cost": 54.5,
            "reason": "",
        },
        design_pipes=_design_pipes(sizes),
        warnings=("Heights of a surface model may stand on trees and hedges.",),
    )


def _outlets(sizes: Sizes) -> pd.DataFrame:
    spare = sizes.outlets["residual_head_m"] - sizes.outlets["needed_head_m"]
    deviation = np.array([0.9, 1.1, 1.2, 1.3])
    flow = np.array([1.0, 0.996, 0.94, 0.71])
    pipe = np.array([1.0, 0.999, 0.99, 0.97])
    return pd.DataFrame(
        {
            "chance_flow": flow,
            "chance_pipe": pipe,
            "chance": np.array([1.0, 0.995, 0.93, 0.70]),
            "spare_head_m": spare.to_numpy(float),
            "spare_head_low_m": spare.to_numpy(float) - NORMAL_95 * deviation,
            "spare_head_high_m": spare.to_numpy(float) + NORMAL_95 * deviation,
            "spare_head_deviation_m": deviation,
            "weakest": ["head", "head", "rise", "head"],
        },
        index=sizes.outlets.index,
    )


def _bands(heads: Heads) -> dict[str, pd.DataFrame]:
    return {
        name: pd.DataFrame(
            {
                "distance_m": section.distance_m,
                "low_m": section.ground_level_m - _half_width_m(section.distance_m),
                "high_m": section.ground_level_m + _half_width_m(section.distance_m),
            }
        )
        for name, section in heads.sections.items()
    }


def _half_width_m(distance_m: np.ndarray) -> np.ndarray:
    """Return what 95 % lie within, nothing at the source that sets the level of the water."""
    return NORMAL_95 * 1.3 * np.sqrt(1 - np.exp(-3 * distance_m / 150.0))


def _survey(network: Network, heads: Heads) -> pd.DataFrame:
    source = str(network.nodes.index[0])
    section = heads.sections["pipe 5"]
    at = len(section.distance_m) // 2
    along = section.distance_m[at] - section.distance_m[0]
    top, start = network.nodes.geometry["outlet 4"], network.nodes.geometry[source]
    third = network.nodes.geometry["outlet 3"]
    levels = network.nodes["ground_level_m"]
    rows = [
        ("outlet 4", top.x, top.y, levels["outlet 4"], 0.295, 0.211, ("outlet 4",)),
        ("source", start.x, start.y, levels[source], 0.211, 0.048, ("outlet 4", "outlet 3")),
        ("outlet 3", third.x, third.y, levels["outlet 3"], 0.048, 0.012, ("outlet 3",)),
        (
            f"pipe 5 at {along:.0f} m", section.easting_m[at], section.northing_m[at],
            section.ground_level_m[at], 0.012, 0.009, ("outlet 4",),
        ),
    ]  # fmt: skip
    columns = [
        "name", "easting_m", "northing_m", "level_m", "doubt_before", "doubt_after", "outlets",
    ]  # fmt: skip
    table = pd.DataFrame(rows, columns=columns, index=range(1, len(rows) + 1))
    table.insert(4, "deviation_m", DEVIATION_M)
    return table


def _influences() -> pd.DataFrame:
    rows = [
        ("heights", "5 % of the simulations", "95 % of the simulations", -1.4, 3.1),
        ("hot day", "demand x 0.9", "demand x 1.25", 1.9, -1.2),
        ("source flow", "0.6 of the measured flow", "all of the measured flow", -0.6, 1.5),
        ("head of stock", "head x 0.9", "head x 1.1", 1.6, 0.1),
        ("friction", "losses x 0.9", "losses x 1.15", 1.3, 0.4),
        ("source level", "0.5 m lower", "0.5 m higher", 0.4, 1.4),
    ]
    table = pd.DataFrame(rows, columns=["factor", "low", "high", "figure_low", "figure_high"])
    return table.assign(base=0.9)


def _design_pipes(sizes: Sizes) -> pd.DataFrame:
    planned = sizes.pipes[["outside_diameter_mm", "pressure_class_bar"]]
    safe = planned["outside_diameter_mm"].replace(25.0, 32.0)
    return planned.assign(
        safe_outside_diameter_mm=safe, safe_pressure_class_bar=planned["pressure_class_bar"]
    )
