"""The commands: results to files or stdout, progress and messages to stderr.

Exit codes: 0 planned and every requirement met, 1 planned but something falls short, 2 a fault
in the input, 3 a fault in the program.
"""

from __future__ import annotations

import json
import sys
import traceback
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from dewpond.base.errors import DewpondError, SolverError
from dewpond.base.progress import StageProgress

if TYPE_CHECKING:
    from rich.table import Table

    from dewpond.base.model import Demand, Holding, Plan

EXIT_MET, EXIT_SHORT, EXIT_INPUT, EXIT_INTERNAL = 0, 1, 2, 3

_PROJECT = click.argument("project", type=click.Path(path_type=Path), metavar="HOLDING.toml")
_JSON = click.option("--json", "as_json", is_flag=True, help="Print the result as JSON.")


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="dewpond")
def commands() -> None:
    """Plan drinking water for grazed holdings.

    A planning aid, not a design certificate: flow, level and ground are to be checked on site.
    """


@commands.command("plan")
@_PROJECT
@click.option(
    "-o",
    "--output",
    required=True,
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder for the results; replaced only when the new ones are complete.",
)
@_JSON
def _plan(project: Path, output: Path, as_json: bool) -> int:
    """Plan one holding and write the plan, the map and the tables."""
    from dewpond.base.settings import load_project
    from dewpond.outputs import write_plan
    from dewpond.plan import plan_holding

    settings = load_project(project)
    with _progress() as report:
        plan = plan_holding(settings, progress=report)
        report("writing", 0.0)
        write_plan(plan, output)
        report("writing", 1.0)
    if as_json:
        click.echo((output / "summary.json").read_text(encoding="utf-8"))
    _tell(plan, output)
    return EXIT_MET if plan.met else EXIT_SHORT


@commands.command("check")
@_PROJECT
@_JSON
def _check(project: Path, as_json: bool) -> int:
    """Read the inputs, report what was mended, and plan nothing."""
    from dewpond.base.settings import load_project
    from dewpond.plan import check_holding

    holding = check_holding(load_project(project))
    facts = _facts(holding)
    if as_json:
        click.echo(json.dumps(facts, indent=2, ensure_ascii=False))
        return EXIT_MET
    for key, value in facts.items():
        for line in value if isinstance(value, list) else [value]:
            click.echo(f"{key.replace('_', ' ')}: {line}")
    return EXIT_MET


@commands.command("demand")
@_PROJECT
@_JSON
def _demand(project: Path, as_json: bool) -> int:
    """Print the water needed on the peak day, by mob and by paddock."""
    from dewpond.base.settings import load_project
    from dewpond.plan import demand_of

    holding, demand = demand_of(load_project(project))
    if as_json:
        click.echo(json.dumps(_demand_record(holding, demand), indent=2, ensure_ascii=False))
    else:
        _print_tables(_mob_table(holding, demand), _paddock_table(demand))
    _warn(demand.warnings)
    return EXIT_MET


@commands.command("template")
def _template() -> int:
    """Print a commented project file to start from."""
    from dewpond.base.settings.template import template

    click.echo(template(), nl=False)
    return EXIT_MET


@commands.command("schema")
def _schema() -> int:
    """Print the JSON Schema of the project file."""
    from dewpond.base.settings import Project

    click.echo(json.dumps(Project.model_json_schema(), indent=2, ensure_ascii=False))
    return EXIT_MET


def main(arguments: list[str] | None = None) -> None:
    """Run a command and leave with its exit code; every error becomes a message on stderr."""
    sys.exit(run(arguments))


def run(arguments: list[str] | None = None) -> int:
    """Run a command and return its exit code."""
    try:
        code = commands.main(arguments, prog_name="dewpond", standalone_mode=False)
    except click.exceptions.Exit as leave:
        return leave.exit_code
    except click.ClickException as error:
        error.show()
        return EXIT_INPUT
    except (KeyboardInterrupt, click.Abort):
        click.echo("stopped; nothing was written", err=True)
        return 130
    except SolverError as error:
        click.echo(f"error: {error}", err=True)
        return EXIT_INTERNAL
    except DewpondError as error:
        for line in str(error).splitlines():
            click.echo(f"error: {line}", err=True)
        return EXIT_INPUT
    except Exception as error:
        traceback.print_exc()
        click.echo(
            f"error: a fault in dewpond itself ({type(error).__name__}); nothing was written; "
            "please report the lines above with the project file",
            err=True,
        )
        return EXIT_INTERNAL
    return code if isinstance(code, int) else EXIT_MET


@contextmanager
def _progress() -> Iterator[StageProgress]:
    """Show the stages of a plan as bars on stderr."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    console = Console(stderr=True)
    columns = (TextColumn("{task.description:<9}"), BarColumn(), TimeElapsedColumn())
    with Progress(*columns, console=console, disable=not console.is_terminal) as bars:
        tasks: dict[str, Any] = {}

        def report(stage: str, share: float) -> None:
            if stage not in tasks:
                tasks[stage] = bars.add_task(stage, total=1.0)
            bars.update(tasks[stage], completed=share)

        yield report


def _tell(plan: Plan, output: Path) -> None:
    """Say on stderr what was planned, what falls short and where the results are."""
    totals = plan.totals
    _warn([*plan.holding.repairs, *plan.warnings])
    click.echo(
        f"{plan.holding.name}: {totals['outlets']:.0f} outlets, "
        f"{totals['pipe_m']:,.0f} m of pipe, longest walk {totals['worst_walk_m']:.0f} m, "
        f"{totals['daily_demand_l']:,.0f} L on the peak day, "
        f"{totals['cost']:,.0f} {plan.project.prices.currency}",
        err=True,
    )
    for verdict in plan.verdicts:
        state = "met" if verdict.met else "SHORT"
        line = f"{state}: {verdict.requirement} ({verdict.figure:.4g} {verdict.unit})"
        tail = [part for part in (verdict.where, verdict.remedy) if part and not verdict.met]
        click.echo("; ".join([line, *tail]), err=True)
    click.echo(f"results in {output}", err=True)


def _warn(messages: Any) -> None:
    for message in messages:
        click.echo(f"note: {message}", err=True)


def _facts(holding: Holding) -> dict[str, Any]:
    grazed = holding.paddocks.loc[list(holding.grazed)]
    return {
        "holding": holding.name,
        "working_crs": holding.crs.to_string(),
        "paddocks": f"{len(holding.paddocks)}, {holding.paddocks['area_ha'].sum():.2f} ha",
        "grazed": f"{len(grazed)}, {grazed['area_ha'].sum():.2f} ha",
        "mobs": [f"{mob.name}, {len(mob.paddocks)} paddocks" for mob in holding.mobs],
        "sources": [
            f"{source.name}, {source.easting_m:.0f} east, {source.northing_m:.0f} north"
            for source in holding.sources
        ],
        "elevation_posting": f"{holding.surface.posting_m:.2f} m",
        "mended": list(holding.repairs),
        "notes": list(holding.warnings),
    }


def _demand_record(holding: Holding, demand: Demand) -> dict[str, Any]:
    mobs = demand.mobs.rename_axis("name").reset_index()
    names = holding.paddocks["name"]
    mobs["paddocks"] = [[str(names[paddock]) for paddock in ids] for ids in mobs["paddocks"]]
    return {
        "mobs": json.loads(mobs.to_json(orient="records")),
        "paddocks": json.loads(demand.paddocks.to_json(orient="records")),
        "daily_demand_l": demand.daily_demand_l,
        "warnings": list(demand.warnings),
    }


def _mob_table(holding: Holding, demand: Demand) -> Table:
    from rich.table import Table

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


def _paddock_table(demand: Demand) -> Table:
    from rich.table import Table

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


def _print_tables(*tables: Table) -> None:
    from rich.console import Console

    # A table piped to a file keeps its full width instead of folding to 80 columns.
    console = Console(width=None if sys.stdout.isatty() else 160, markup=False)
    for table in tables:
        console.print(table)
