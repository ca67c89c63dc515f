"""The commands that plan one holding, or the first part of it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from dewpond.cli.common import (
    EXIT_MET,
    EXIT_SHORT,
    figure_text,
    json_option,
    output_option,
    project_argument,
    stage_bars,
    warn,
)

if TYPE_CHECKING:
    from dewpond.base.model import Demand, Holding, Plan


@click.command("plan")
@project_argument
@output_option
@json_option
def plan_command(project: Path, output: Path, as_json: bool) -> int:
    """Plan one holding and write the plan, the map and the tables."""
    from dewpond.base.settings import load_project
    from dewpond.outputs import check_folder, write_plan
    from dewpond.plan import plan_holding

    settings = load_project(project)
    check_folder(output)
    with stage_bars() as report:
        plan = plan_holding(settings, progress=report)
        report("writing", 0.0)
        write_plan(plan, output)
        report("writing", 1.0)
    if as_json:
        click.echo((output / "summary.json").read_text(encoding="utf-8"))
    _tell(plan, output)
    return EXIT_MET if plan.met else EXIT_SHORT


@click.command("check")
@project_argument
@json_option
def check_command(project: Path, as_json: bool) -> int:
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


@click.command("demand")
@project_argument
@json_option
def demand_command(project: Path, as_json: bool) -> int:
    """Print the water needed on the peak day, by mob and by paddock."""
    from dewpond.base.measures import Measures
    from dewpond.base.settings import load_project
    from dewpond.cli.tables import calendar_table, mob_table, paddock_table, print_tables
    from dewpond.plan import demand_of

    settings = load_project(project)
    measures = Measures(settings.documents.units)
    holding, demand = demand_of(settings)
    if as_json:
        click.echo(json.dumps(_demand_record(holding, demand), indent=2, ensure_ascii=False))
    else:
        by_month = [] if demand.calendar.empty else [calendar_table(demand, measures)]
        mobs = mob_table(holding, demand, measures)
        print_tables(mobs, paddock_table(demand, measures), *by_month)
    warn(demand.warnings)
    return EXIT_MET


def _tell(plan: Plan, output: Path) -> None:
    """Say on stderr what was planned, what falls short and where the results are."""
    from dewpond.base.advice import advice
    from dewpond.base.measures import Measures, money

    measures, currency = Measures(plan.project.documents.units), plan.project.prices.currency
    totals, costing = plan.totals, plan.scheme.costing
    cost = totals["cost"] if costing is None else costing.totals["gross"]
    warn([*plan.holding.repairs, *plan.warnings])
    click.echo(
        f"{plan.holding.name}: {totals['outlets']:.0f} outlets, "
        f"{measures.text('length', totals['pipe_m'])} of pipe, "
        f"longest walk {measures.text('length', totals['worst_walk_m'])}, "
        f"{measures.text('volume', totals['daily_demand_l'])} on the peak day, "
        f"{money(cost, currency)}",
        err=True,
    )
    for verdict in plan.verdicts:
        state = "met" if verdict.met else "SHORT"
        line = f"{state}: {verdict.requirement} ({figure_text(verdict, measures)})"
        tail = [part for part in (verdict.where, verdict.remedy) if part and not verdict.met]
        click.echo("; ".join([line, *tail]), err=True)
    if plan.confidence is not None:
        click.echo(advice(plan.confidence, currency, measures), err=True)
    click.echo(f"results in {output}", err=True)


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
