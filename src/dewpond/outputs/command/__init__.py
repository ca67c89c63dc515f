"""The command area as raster, features, table and summary."""

from dewpond.outputs.command.features import command_layers
from dewpond.outputs.command.raster import write_raster
from dewpond.outputs.command.summary import command_csv, command_json

__all__ = ["command_csv", "command_json", "command_layers", "write_raster"]
