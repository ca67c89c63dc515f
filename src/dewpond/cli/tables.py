"""Tables printed on stdout."""

from __future__ import annotations

import sys

from rich.console import Console
from rich.table import Table

from dewpond.base.model import Demand, Holding


def mob_table(holding: Holding, demand: Demand) -> Table:
    """Return the water that each mob needs, one row a mob."""
    table = Table(title=f"{holding.name}: water on the peak day, by mob")
    for heading in ("mob", "species", "method", "trough"):
        table.add_column(heading)
    for heading in ("head", "weight kg", "L/head/day", "L/day", "hours", "L/min"):
        table.add_column(heading, justify="right")
    for name, row in demand.mobs.iterrows():
        table.add_row(
            str(name), row["species"], row["method"], row["trough"],
            f"{row['head']:,.0f}", f"{row['weight_kg']:,.0f}", f"{row['litres_head_day']:.1f}",
            f"{row['daily_demand_l']:,.0f}", f"{row['drinking_hours']:g}",
            f"{row['design_flow_l_min']:.2f}",
        )  # fmt: skip
    return table


def paddock_table(demand: Demand) -> Table:
    """Return the water needed in each paddock, one row a paddock."""
    table = Table(title="by paddock: the most demanding mob that grazes it")
    table.add_column("paddock")
    table.add_column("mobs")
    table.add_column("L/day", justify="right")
    table.add_column("L/min", justify="right")
    for row in demand.paddocks.itertuples():
        table.add_row(
            str(row.name),
            ", ".join(row.mobs),
            f"{row.daily_demand_l:,.0f}",
            f"{row.design_flow_l_min:.2f}",
        )
    return table


def print_tables(*tables: Table) -> None:
    """Print tables on stdout."""
    # A table piped to a file keeps its full width instead of folding to 80 columns.
    console = Console(width=None if sys.stdout.isatty() else 160, markup=False)
    for table in tables:
        console.print(table)
