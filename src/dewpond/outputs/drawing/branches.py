"""The long sections of a pipe tree: the way from the source to each outlet at an end."""

from __future__ import annotations

import re
import unicodedata

from dewpond.base.model import Network

_LONGEST_SLUG = 30


def section_lines(network: Network) -> dict[str, tuple[str, ...]]:
    """Return the pipes of each long section by the stem of its file name.

    One section for each end of the tree, all the way from the source: whoever stands at an
    outlet sees the whole run that feeds it on one sheet, and every pipe stands in one at least.

    Parameters
    ----------
    network : Network

    Returns
    -------
    dict of str to tuple of str
        In the order in which the ends stand in the network; stems are numbered and hold only
        a-z, 0-9 and hyphens, whatever the names.
    """
    pipes = network.pipes
    starts = {str(pipe): str(start) for pipe, start in pipes["from_node"].items()}
    feeding = {str(end): str(pipe) for pipe, end in pipes["to_node"].items()}
    ends = [str(node) for node in network.nodes.index if node in feeding]
    ends = [node for node in ends if node not in set(starts.values())]
    lines: dict[str, tuple[str, ...]] = {}
    for number, end in enumerate(ends, start=1):
        line: list[str] = []
        node = end
        while node in feeding:
            line.insert(0, feeding[node])
            node = starts[feeding[node]]
        lines[f"{number:02d}-{slug(node)}-to-{slug(end)}"] = tuple(line)
    return lines


def slug(name: str) -> str:
    """Return a name as part of a file name: no path separators, blanks or accents.

    >>> slug("Tête d'eau / north")
    'tete-d-eau-north'
    """
    ascii_only = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode()
    return re.sub(r"[^a-z0-9]+", "-", ascii_only.lower())[:_LONGEST_SLUG].strip("-") or "x"
