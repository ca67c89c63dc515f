"""Writes docs/reference/project-file.md from the settings themselves."""

from __future__ import annotations

from pathlib import Path

from dewpond.base.settings.template import template

PAGE = Path(__file__).parent / "reference" / "project-file.md"

HEAD = """# Project file

A project file is TOML; paths in it are relative to the file. Below is what `dewpond template`
prints: every table and key with its meaning, its default and, in square brackets, the source of
the default. Units are in the names. A key that is not listed is refused, with the nearest valid
name. `dewpond schema` prints the same as JSON Schema, for editors that check while one types.

```toml
"""


def main() -> None:
    """Write the page."""
    PAGE.write_text(HEAD + template() + "```\n", encoding="utf-8")


if __name__ == "__main__":
    main()
