"""Step: the chosen ways for pipe as a network of named nodes and pipes."""

from dewpond.steps.routing.assemble import assemble_network

__all__ = ["assemble_network"]
