"""Steady flow in pipe networks, trees or loops, with valves that pass what their head allows.

Arrays only: nodes and links are positions, heads and levels in metres above one datum, flows in
m³/s. Geography belongs to the layers above.
"""

from dewpond.base.pipenetwork.model import NetworkFlow, Outlets, PipeNetwork, Pumps
from dewpond.base.pipenetwork.solve import solve_network

__all__ = ["NetworkFlow", "Outlets", "PipeNetwork", "Pumps", "solve_network"]
