"""The commands: results to files or stdout, progress and messages to stderr.

Exit codes: 0 planned and every requirement met, 1 planned but something falls short, 2 a fault
in the input, 3 a fault in the program. Heavy libraries are imported by the command that needs
them, so that help answers at once.
"""

from __future__ import annotations

import sys
import traceback

import click

from dewpond.base.errors import DewpondError, SolverError
from dewpond.cli.batching import batch_command
from dewpond.cli.commanding import command_area_command
from dewpond.cli.common import EXIT_INPUT, EXIT_INTERNAL, EXIT_MET
from dewpond.cli.comparing import compare_command
from dewpond.cli.planning import check_command, demand_command, plan_command
from dewpond.cli.project_file import schema_command, template_command


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="dewpond")
def commands() -> None:
    """Plan drinking water for grazed holdings.

    A planning aid, not a design certificate: flow, level and ground are to be checked on site.
    """


for _command in (
    plan_command,
    check_command,
    demand_command,
    compare_command,
    command_area_command,
    batch_command,
    template_command,
    schema_command,
):
    commands.add_command(_command)


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
