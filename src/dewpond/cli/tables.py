"""Tables printed on stdout."""

from __future__ import annotations

import calendar
import math
import sys
from collections.abc import Hashable
from typing import Any

from rich.console import Console
from rich.table import Table

from dewpond.base.measures import Measures
from dewpond.base.model import CommandArea, Comparison, Demand, Holding, Outcome


def mob_table(holding: Holding, demand: Demand, measures: Measures) -> Table:
    """Return the water that each mob needs, one row a mob."""
    table = Table(title=f"{holding.name}: water on the peak day, by mob")
    for heading in ("mob", "species", "method", "trough"):
        table.add_column(heading)
    volume, flow, weight = (measures.sign(of) for of in ("volume", "flow", "weight"))
    for heading in (
        "head",
        f"weight {weight}",
        f"{volume}/head/day",
        f"{volume}/day",
        "hours",
        flow,
    ):
        table.add_column(heading, justify="right")
    for name, row in demand.mobs.iterrows():
        table.add_row(
            str(name), row["species"], row["method"], row["trough"],
            f"{row['head']:,.0f}", measures.figure("weight", row["weight_kg"]),
            measures.figure("volume", row["litres_head_day"], 1),
            measures.figure("volume", row["daily_demand_l"]), f"{row['drinking_hours']:g}",
            measures.figure("flow", row["design_flow_l_min"], 2),
        )  # fmt: skip
    return table


def paddock_table(demand: Demand, measures: Measures) -> Table:
    """Return the water needed in each paddock, one row a paddock."""
    table = Table(title="by paddock: the most demanding mob that grazes it")
    table.add_column("paddock")
    table.add_column("mobs")
    table.add_column(f"{measures.sign('volume')}/day", justify="right")
    table.add_column(measures.sign("flow"), justify="right")
    for row in demand.paddocks.itertuples():
        table.add_row(
            str(row.name),
            ", ".join(row.mobs),
            measures.figure("volume", row.daily_demand_l),
            measures.figure("flow", row.design_flow_l_min, 2),
        )
    return table


def calendar_table(demand: Demand, measures: Measures) -> Table:
    """Return the water needed by month, one row a month, with the peak month named."""
    peak = calendar.month_name[demand.peak_month]
    table = Table(title=f"by month, from the stocking calendar: most in {peak}")
    table.add_column("month")
    table.add_column("mobs")
    table.add_column("head", justify="right")
    table.add_column(f"{measures.sign('volume')}/day", justify="right")
    for month, rows in demand.calendar.groupby("month"):
        table.add_row(
            calendar.month_name[int(month)],
            ", ".join(rows["mob"]),
            f"{rows['head'].sum():,.0f}",
            measures.figure("volume", rows["daily_demand_l"].sum()),
        )
    return table


def print_tables(*tables: Table) -> None:
    """Print tables on stdout."""
    # A table piped to a file keeps its full width instead of folding to 80 columns.
    console = Console(width=None if sys.stdout.isatty() else 160, markup=False)
    for table in tables:
        console.print(table)


def comparison_table(comparison: Comparison) -> Table:
    """Return every setting with its figures, one row each."""
    measures = Measures(comparison.units)
    length = measures.sign("length")
    table = Table(title=f"{comparison.holding}: settings compared")
    table.add_column("", justify="right")
    table.add_column("setting")
    for heading in (f"cost {comparison.currency}", "against 1", "outlets", f"pipe {length}"):
        table.add_column(heading, justify="right")
    for heading in (f"longest walk {length}", f"mean walk {length}", "in reach %"):
        table.add_column(heading, justify="right")
    table.add_column("source")
    table.add_column("met")
    base = comparison.outcomes[0]
    for number, outcome in enumerate(comparison.outcomes, start=1):
        table.add_row(str(number), outcome.name, *_outcome_cells(outcome, base, measures))
    return table


def _outcome_cells(outcome: Outcome, base: Outcome, measures: Measures) -> list[str]:
    if not outcome.planned:
        return [*[""] * 7, "", "not planned"]
    totals = outcome.totals
    more = totals["cost"] - base.totals["cost"] if base.planned else math.nan
    return [
        f"{totals['cost']:,.0f}",
        "" if math.isnan(more) or outcome is base else f"{more:+,.0f}",
        f"{totals['outlets']:.0f}",
        *(
            measures.figure("length", totals[key])
            for key in ("pipe_m", "worst_walk_m", "mean_walk_m")
        ),
        # Rounded down: 100 is said only where the last cell is in reach.
        f"{math.floor(totals['covered_share'] * 1000) / 10:g}",
        outcome.source,
        "yes" if outcome.met else f"{len(outcome.shortfalls)} short",
    ]


def command_table(area: CommandArea, measures: Measures) -> Table:
    """Return how much of each chosen paddock is commanded, and how surely."""
    case = area.ground.case
    table = Table(
        title=f"{area.holding.name}: {measures.text('flow', case.flow_l_min)} at "
        f"{measures.text('head', case.head_m)} from "
        f"{case.source} through {case.pipe.name}"
    )
    head = measures.sign("head")
    table.add_column("paddock")
    for heading in (
        "commanded %",
        "surely %",
        f"least head {head}",
        f"to spare {head}",
        "chance %",
    ):
        table.add_column(heading, justify="right")
    table.add_column("commanded")
    found = area.ground.paddocks
    for row in found[found["chosen"]].to_dict("records"):
        table.add_row(
            str(row["name"]),
            f"{math.floor(100 * row['commanded_share']):.0f}",
            f"{math.floor(100 * row['surely_share']):.0f}",
            measures.figure("head", row["lowest_residual_head_m"], 1),
            measures.figure("head", row["spare_m"], 1),
            f"{100 * row['chance']:.0f}" if math.isfinite(row["chance"]) else "–",
            "yes" if row["commanded"] else "no",
        )
    return table


def tank_table(area: CommandArea, measures: Measures) -> Table:
    """Return the places for a tank: lowest to nearest, then others well apart."""
    table = Table(title="places for a tank that commands them all")
    for heading in ("", "where"):
        table.add_column(heading)
    length = measures.sign("length")
    for heading in (
        "E",
        "N",
        *(f"{name} {length}" for name in ("ground", "water", "pipe", "to spare")),
        "chance %",
    ):
        table.add_column(heading, justify="right")
    table.add_column("class enough")
    table.add_column("")
    for row in area.ground.tanks.to_dict("records"):
        table.add_row(
            str(row["name"]), str(row["paddock"]) or "outside the paddocks",
            f"{row['easting_m']:.0f}", f"{row['northing_m']:.0f}",
            measures.figure("level", row["ground_level_m"], 1),
            measures.figure("level", row["water_level_m"], 1),
            measures.figure("length", row["pipe_m"]),
            measures.figure("head", row["spare_m"], 1), f"{100 * row['chance']:.0f}",
            "no" if row["over_class"] else "yes", _rank(row),
        )  # fmt: skip
    return table


def _rank(row: dict[Hashable, Any]) -> str:
    """Return what sets a place for a tank apart."""
    told = ("lowest", "nearest", "instead")
    return ", ".join(name for name in told if row[name])
