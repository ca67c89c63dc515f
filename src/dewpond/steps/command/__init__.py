"""What gravity commands from a source, and where a tank would command chosen paddocks."""

from dewpond.steps.command.find import find_command

__all__ = ["find_command"]
