"""The pipe tree cut into lines, each pipe in one of them: mains first, then their branches."""

from __future__ import annotations

from dewpond.base.model import Network


def branch_lines(network: Network, most_pipes: int) -> list[tuple[str, ...]]:
    """Return lines of pipe that follow each other, every pipe of the network once.

    From the source, and from every fork, the longest way on is one line; the other ways are
    lines of their own, as long sections of mains and branches are drawn.

    Parameters
    ----------
    network : Network
        Its pipes are ordered outward from the source.
    most_pipes : int
        A line of more pipes goes on as another.
    """
    pipes = network.pipes
    leaving: dict[str, list[str]] = {}
    for pipe, start in pipes["from_node"].items():
        leaving.setdefault(str(start), []).append(str(pipe))
    end = {str(pipe): str(node) for pipe, node in pipes["to_node"].items()}
    beyond_m: dict[str, float] = {}
    for pipe in reversed(pipes.index):
        after = [beyond_m[other] for other in leaving.get(end[str(pipe)], [])]
        beyond_m[str(pipe)] = float(pipes.at[pipe, "length_m"]) + max(after, default=0.0)
    lines = []
    for first in _first_pipes(leaving, end, beyond_m, [str(pipe) for pipe in pipes.index]):
        line = [first]
        while ways := leaving.get(end[line[-1]], []):
            line.append(_longest(ways, beyond_m))
        lines += [tuple(line[i : i + most_pipes]) for i in range(0, len(line), most_pipes)]
    return lines


def _first_pipes(
    leaving: dict[str, list[str]],
    end: dict[str, str],
    beyond_m: dict[str, float],
    order: list[str],
) -> list[str]:
    """Return the pipes that begin a line: all that no longer way goes on into."""
    goes_on = {_longest(leaving[node], beyond_m) for node in end.values() if node in leaving}
    return [pipe for pipe in order if pipe not in goes_on]


def _longest(ways: list[str], beyond_m: dict[str, float]) -> str:
    return max(ways, key=lambda pipe: beyond_m[pipe])
