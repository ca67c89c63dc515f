"""The commands that help to write a project file."""

from __future__ import annotations

import json

import click

from dewpond.cli.common import EXIT_MET


@click.command("template")
def template_command() -> int:
    """Print a commented project file to start from."""
    from dewpond.base.settings.template import template

    click.echo(template(), nl=False)
    return EXIT_MET


@click.command("schema")
def schema_command() -> int:
    """Print the JSON Schema of the project file."""
    from dewpond.base.settings import Project

    click.echo(json.dumps(Project.model_json_schema(), indent=2, ensure_ascii=False))
    return EXIT_MET
