"""dewpond plans drinking water for grazed holdings."""

__version__ = "0.1.0"
