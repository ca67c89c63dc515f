"""Water of the plan made by hand: troughs, flows, sizes, heads, fittings, sources tried."""

from __future__ import annotations

import numpy as np
import pandas as pd

from dewpond.base.model import (
    Delivery,
    Flows,
    Heads,
    Intake,
    Isolation,
    Judgement,
    Network,
    Proof,
    Remedy,
    Shortfall,
    Sizes,
    Supply,
    Watering,
)

OUTLETS = ("outlet 1", "outlet 2", "outlet 3", "outlet 4")
# Outside diameter, bore, SDR, class: rows of EN 12201-2 (from memory); the last is old pipe.
SIZES = {
    "pipe 1": (40.0, 32.6, 11.0, 12.5),
    "pipe 2": (32.0, 26.0, 11.0, 12.5),
    "pipe 3": (25.0, 20.4, 11.0, 12.5),
    "pipe 4": (32.0, 26.0, 11.0, 12.5),
    "pipe 5": (25.0, 20.4, 11.0, 12.5),
}
LOSS_PER_M = {"pipe 1": 0.004, "pipe 2": 0.012, "pipe 3": 0.03, "pipe 4": 0.012, "pipe 5": 0.03}
CLASS_HEAD_M = 127.5
BREAK_PIPE, BREAK_LEVEL_M = "pipe 4", 252.0


def make_watering() -> Watering:
    uses = pd.DataFrame(
        [
            ("stores", "outlet 1", 1, "mobile", 210.0, "ones and twos", "7 h", 8.0, 4, 200.0),
            ("ewes", "outlet 1", 1, "fixed", 210.0, "ones and twos", "9 h", 7 / 3, 3, 150.0),
            ("stores", "outlet 2", 2, "mobile", 180.0, "ones and twos", "7 h", 8.0, 4, 200.0),
            ("stores", "outlet 3", 3, "mobile", 230.0, "together", "by half", 12.0, 40, 600.0),
            ("stores", "outlet 4", 0, "mobile", 200.0, "ones and twos", "7 h", 8.0, 4, 200.0),
        ],
        columns=[
            "mob", "outlet", "paddock", "trough", "farthest_walk_m", "arrival", "rule",
            "design_flow_l_min", "drinking_at_once", "trough_volume_l",
        ],
    )  # fmt: skip
    outlets = pd.DataFrame(
        {
            "trough": ["fixed and mobile", "mobile", "mobile", "mobile"],
            "design_flow_l_min": [8.0, 8.0, 12.0, 8.0],
            "trough_volume_l": [200.0, 200.0, 600.0, 200.0],
            "troughs": [1, 1, 2, 1],
            "drinking_spaces": [4, 4, 40, 4],
            "head_per_trough": [80, 80, 40, 80],
            "refill_min": [25.0, 25.0, 50.0, 25.0],
            "seat_bore_mm": [6.0, 6.0, 9.0, 6.0],
            "discharge_coefficient": 0.7,
            "valve_head_m": [2.3, 2.3, 1.0, 2.3],
            "notes": [(), (), ("Stock come together: two troughs linked.",), ()],
        },
        index=list(OUTLETS),
    )
    return Watering(uses, outlets, ("Stock come to outlet 3 together.",))


def make_flows() -> Flows:
    flow = [12.0 + 7 / 3, 12.0, 8.0, 12.0, 8.0]
    pipes = pd.DataFrame(
        {"design_flow_l_min": flow, "mobs": [("stores", "ewes"), *[("stores",)] * 4]},
        index=list(SIZES),
    )
    cases = pd.DataFrame({"mob": ["stores"], "outlet": ["outlet 3"]})
    cases[list(SIZES)] = [flow]
    return Flows(pipes, cases, flow[0])


def make_intake() -> Intake:
    return Intake(
        np.array([0.0, 20.0]), np.array([262.0, 255.0]), 7000.0, False, np.nan,
        "static pressure and one timed bucket", ("Time the bucket again in a dry August.",),
    )  # fmt: skip


def make_sizes(network: Network, heads: Heads) -> Sizes:
    grade, lowest = _grades(network, heads), {}
    for name, table in grade.items():
        lowest[name] = float((table["grade_level_m"] - table["ground_level_m"]).min())
    flow = make_flows().pipes["design_flow_l_min"]
    size = np.array(list(SIZES.values()))
    length = network.pipes["length_m"].reindex(list(SIZES)).to_numpy(float)
    price = np.array([1.9, 1.3, 0.9, 1.3, 0.0])
    pipes = pd.DataFrame(
        {
            "material": "PE80",
            "outside_diameter_mm": size[:, 0],
            "inside_diameter_mm": size[:, 1],
            "sdr": size[:, 2],
            "pressure_class_bar": size[:, 3],
            "working_head_m": CLASS_HEAD_M,
            "design_flow_l_min": flow.to_numpy(float),
            # Mean velocity: flow over the area of the bore.
            "velocity_m_s": flow.to_numpy(float) / 60e3 / (np.pi * (size[:, 1] / 2e3) ** 2),
            "friction_loss_m": np.array(list(LOSS_PER_M.values())) * length,
            "lowest_residual_head_m": [lowest[name] for name in SIZES],
            "price_per_m": price,
            "pipe_cost": price * length,
        },
        index=list(SIZES),
    )
    ends = {str(end): str(pipe) for pipe, end in network.pipes["to_node"].items()}
    residual = [
        float((grade[ends[name]]["grade_level_m"] - grade[ends[name]]["ground_level_m"]).iloc[-1])
        for name in OUTLETS
    ]
    needed = make_watering().outlets["valve_head_m"].to_numpy(float)
    outlets = pd.DataFrame({"residual_head_m": residual, "needed_head_m": needed}, OUTLETS)
    return Sizes(
        pipes, outlets, _breaks(heads), (), Proof(601.2, 600.9, 0.3, "optimal"),
        ("Pipe in the ground is taken to be 25 mm.",), grade,
    )  # fmt: skip


def _grades(network: Network, heads: Heads) -> dict[str, pd.DataFrame]:
    """Return still water, falling grade and class limit; the break starts both anew."""
    still = {str(network.nodes.index[0]): heads.source_level_m}
    flowing = dict(still)
    tables = {}
    for name, pipe in network.pipes.iterrows():
        section = heads.sections[str(name)]
        along = section.distance_m - section.distance_m[0]
        static = np.full(len(along), still[pipe["from_node"]])
        grade = flowing[pipe["from_node"]] - LOSS_PER_M[str(name)] * along
        order = np.arange(len(along))
        if name == BREAK_PIPE:
            # The point of the break stands twice: before it and after it.
            at = len(along) // 2
            order = np.insert(order, at, at)
            static, grade = static[order], grade[order]
            fall = LOSS_PER_M[str(name)] * (along[order] - along[at])
            after = np.arange(len(order)) > at
            static = np.where(after, BREAK_LEVEL_M, static)
            grade = np.where(after, BREAK_LEVEL_M - fall, grade)
        tables[str(name)] = pd.DataFrame(
            {
                "distance_m": section.distance_m[order],
                "ground_level_m": section.ground_level_m[order],
                "static_level_m": static,
                "grade_level_m": grade,
                "class_limit_level_m": section.ground_level_m[order] + CLASS_HEAD_M,
            }
        )
        still[pipe["to_node"]], flowing[pipe["to_node"]] = float(static[-1]), float(grade[-1])
    return tables


def _breaks(heads: Heads) -> pd.DataFrame:
    section = heads.sections[BREAK_PIPE]
    at = len(section.distance_m) // 2
    row = {
        "pipe": BREAK_PIPE,
        "kind": "break tank",
        "distance_m": float(section.distance_m[at] - section.distance_m[0]),
        "level_m": BREAK_LEVEL_M,
        "easting_m": float(section.easting_m[at]),
        "northing_m": float(section.northing_m[at]),
        "reason": "lets the level down from 262.0 to 252.0 m",
    }
    return pd.DataFrame([row], index=["break tank 1"])


def make_delivery() -> Delivery:
    return Delivery(
        pd.DataFrame(
            {
                "alone_l_min": [19.0, 16.0, 24.0, 14.0],
                "available_flow_l_min": [17.5, 13.25, 20.0, 12.5],
                "worst_with": [("outlet 3",), ("outlet 1",), ("outlet 1",), ("outlet 1",)],
            },
            index=list(OUTLETS),
        )
    )


def make_isolation(heads: Heads) -> Isolation:
    """Return a valve and the meter at the source, valves at the fork, every hollow and an end."""
    rows = {
        "stop valve 1": ("stop valve", "pipe 1", 0, "shuts the whole scheme"),
        "stop valve 2": ("stop valve", "pipe 3", 0, "shuts this side of junction 1"),
        "stop valve 3": ("stop valve", "pipe 4", 0, "shuts this side of junction 1"),
        "meter 1": ("meter", "pipe 1", 0, "shows what the scheme uses"),
    }
    hollows = [(pipe, at) for pipe, section in heads.sections.items() for at in section.hollows]
    for pipe, at in hollows:
        name = f"drain {len(rows) - 3}"
        rows[name] = ("drain", pipe, at, "lowest point of a hollow")
    rows[f"drain {len(hollows) + 1}"] = ("drain", "pipe 3", -1, "the pipe falls to its end")
    table = []
    for kind, pipe, at, reason in rows.values():
        section = heads.sections[pipe]
        table.append(
            {
                "kind": kind,
                "pipe": pipe,
                "distance_m": float(section.distance_m[at] - section.distance_m[0]),
                "easting_m": float(section.easting_m[at]),
                "northing_m": float(section.northing_m[at]),
                "ground_level_m": float(section.ground_level_m[at]),
                "reason": reason,
            }
        )
    sections = pd.DataFrame(
        {
            "outlets_shut": [OUTLETS, ("outlet 2",), ("outlet 3", "outlet 4")],
            "dry_share": [1.0, 0.25, 0.4],
        },
        index=list(rows)[:3],
    )
    return Isolation(pd.DataFrame(table, index=list(rows)), sections, ("Drain before frost.",))


def make_supply(*, met: bool) -> Supply:
    """Return a main with a booster and a tank; short of flow where not `met`."""
    judgements = (
        Judgement("flow at the source", 20.0 if met else 9.0, 14.3, "L/min", met, "by the bucket"),
        Judgement("water a day", 7000.0, 4620.0, "L", True),
    )
    remedies = (
        Remedy("fixed troughs with a buffer of 600 L bring the flow down to 8 L/min", True, 600.0,
               "L"),
        Remedy("25 mm to 32 mm pipe adds 1.2 L/min", False, 1.2, "L/min"),
    )  # fmt: skip
    return Supply(
        judgements,
        () if met else remedies,
        {"volume_l": 3500.0, "reserve_l": 2310.0, "balance_l": 1190.0, "fill_l_min": 6.0},
        {"flow_l_min": 14.3, "head_m": 21.0, "power_w": 110.0, "suction_lift_m": np.nan,
         "suction_limit_m": np.nan, "panel_w": np.nan, "storage_l": np.nan},
        {},
        ("An air gap above the spill level is asked for on a main.",),
        ("Ask the water undertaker before a booster is put on a main.",),
    )  # fmt: skip


def nothing_fits(sizes: Sizes) -> Sizes:
    """Return sizes in which no pipe will do: no figures, and the reason why."""
    blank = sizes.pipes.assign(**dict.fromkeys(sizes.pipes.columns, np.nan))
    grade = {
        name: table.assign(grade_level_m=np.nan, class_limit_level_m=np.nan)
        for name, table in sizes.grade.items()
    }
    short = Shortfall(
        "Head at every outlet", "outlet 4", -3.1, 2.3, "m", "raise the source by 5.4 m"
    )
    none = Proof(np.nan, np.nan, 0.1, "infeasible")
    return Sizes(blank, sizes.outlets, sizes.breaks.iloc[:0], (short,), none, (), grade)


def no_water() -> dict[str, object]:
    """Return the parts of a scheme that has neither pipe nor outlet, as the steps give them."""
    watering, flows, intake = make_watering(), make_flows(), make_intake()
    breaks = pd.DataFrame(
        columns=["pipe", "kind", "distance_m", "level_m", "easting_m", "northing_m", "reason"]
    )
    fittings = pd.DataFrame(
        columns=[
            "kind", "pipe", "distance_m", "easting_m", "northing_m", "ground_level_m", "reason",
        ]
    )  # fmt: skip
    pipe_columns = [
        "material", "outside_diameter_mm", "inside_diameter_mm", "sdr", "pressure_class_bar",
        "working_head_m", "design_flow_l_min", "velocity_m_s", "friction_loss_m",
        "lowest_residual_head_m", "price_per_m", "pipe_cost",
    ]  # fmt: skip
    heads = ["residual_head_m", "needed_head_m"]
    return {
        "watering": Watering(watering.uses.iloc[:0], watering.outlets.iloc[:0]),
        "flows": Flows(flows.pipes.iloc[:0], flows.cases.iloc[:0], 0.0),
        "intake": intake,
        "sizes": Sizes(
            pd.DataFrame(columns=pipe_columns), pd.DataFrame(columns=heads), breaks, (),
            Proof(0.0, 0.0, 0.0, "optimal"),
        ),
        "delivery": Delivery(make_delivery().outlets.iloc[:0]),
        "isolation": Isolation(fittings, pd.DataFrame(columns=["outlets_shut", "dry_share"])),
    }  # fmt: skip
