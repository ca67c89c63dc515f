"""The command that maps what gravity reaches and looks for places for a tank."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from dewpond.cli.common import (
    EXIT_MET,
    EXIT_SHORT,
    json_option,
    output_option,
    project_argument,
    stage_bars,
    warn,
)

if TYPE_CHECKING:
    from dewpond.base.model import CommandArea

_SDR = re.compile(r"sdr\s*([0-9.]+)", re.IGNORECASE)


def _class_of_pipe(
    context: click.Context, option: click.Parameter, text: str | None
) -> dict[str, float]:
    """Read a pressure class in bar ("10", "PN 10") or a wall series ("SDR 11")."""
    if text is None:
        return {}
    sdr = _SDR.fullmatch(text.strip())
    plain = re.sub(r"^pn\s*", "", text.strip(), flags=re.IGNORECASE)
    try:
        return {"sdr": float(sdr[1])} if sdr else {"pressure_class_bar": float(plain)}
    except ValueError:
        raise click.BadParameter('give bar, as 12.5, or a series, as "SDR 11"') from None


@click.command("command-area")
@project_argument
@output_option
@click.option("--source", metavar="NAME", help="Source that the water comes from.")
@click.option("--flow", "flow_l_min", type=float, metavar="L/MIN", help="Flow wanted [L/min].")
@click.option("--head", "head_m", type=float, metavar="M", help="Head wanted at its end [m].")
@click.option(
    "--pipe-diameter", "outside_diameter_mm", type=float, metavar="MM",
    help="Outside diameter of the pipe [mm].",
)  # fmt: skip
@click.option(
    "--class", "pipe_class", callback=_class_of_pipe, metavar="BAR or SDR",
    help='Pressure class of the pipe [bar], or its series as "SDR 11".',
)  # fmt: skip
@click.option("--material", metavar="NAME", help="Material of the pipe, by the table.")
@click.option(
    "--paddock", "paddocks", multiple=True, metavar="NAME",
    help="Paddock to be commanded; may stand several times. Left out, all that are grazed.",
)  # fmt: skip
@click.option(
    "--tank-sites", type=int, metavar="N",
    help="Look for up to N places for a tank that commands them all.",
)  # fmt: skip
@json_option
def command_area_command(
    project: Path,
    output: Path,
    pipe_class: dict[str, float],
    paddocks: tuple[str, ...],
    as_json: bool,
    **options: Any,
) -> int:
    """Map where gravity delivers a flow at a head through a pipe, and how surely.

    What is left out stands in [command_area] of the project file, or follows from the stock.
    """
    from dewpond.base.settings import load_project
    from dewpond.gravity import command_area
    from dewpond.outputs import check_folder, write_command_area

    asked = {key: value for key, value in options.items() if value is not None} | pipe_class
    if paddocks:
        asked["paddocks"] = list(paddocks)
    settings = load_project(project)
    check_folder(output)
    with stage_bars() as report:
        area = command_area(settings, asked, progress=report)
        report("writing", 0.0)
        write_command_area(area, output)
        report("writing", 1.0)
    if as_json:
        click.echo((output / "summary.json").read_text(encoding="utf-8"))
    else:
        from dewpond.base.measures import Measures
        from dewpond.cli.tables import command_table, print_tables, tank_table

        measures = Measures(settings.documents.units)
        sites = [] if area.ground.tanks.empty else [tank_table(area, measures)]
        print_tables(command_table(area, measures), *sites)
    _tell(area, output)
    return EXIT_MET if area.met else EXIT_SHORT


def _tell(area: CommandArea, output: Path) -> None:
    """Say on stderr what was asked, what falls short and where the results are."""
    warn([*area.holding.repairs, *area.warnings])
    for reason in area.ground.case.reasons.values():
        click.echo(reason, err=True)
    table = area.ground.paddocks
    for row in table[table["chosen"] & ~table["commanded"]].itertuples():
        click.echo(
            f"SHORT: {row.name}: {100 * row.commanded_share:.0f} % of its ground is commanded",
            err=True,
        )
    click.echo(f"results in {output}", err=True)
