"""A pipe tree cut into lines for long sections: the main line, then each branch off it."""

from __future__ import annotations

import re
import unicodedata

from dewpond.base.model import Network

_LONGEST_SLUG = 30


def section_lines(network: Network) -> dict[str, tuple[str, ...]]:
    """Return the pipes of each long section by the stem of its file name.

    Every pipe stands in exactly one section. From the source, and from each junction off a
    section drawn already, a section follows the way to the farthest outlet.

    Parameters
    ----------
    network : Network

    Returns
    -------
    dict of str to tuple of str
        Numbered, main line first; stems hold only a-z, 0-9 and hyphens, whatever the names.
    """
    pipes = network.pipes
    ends = {str(pipe): str(end) for pipe, end in pipes["to_node"].items()}
    starts = {str(pipe): str(start) for pipe, start in pipes["from_node"].items()}
    onward: dict[str, list[str]] = {}
    for pipe, start in starts.items():
        onward.setdefault(start, []).append(pipe)
    far: dict[str, float] = {}
    for pipe in reversed(list(ends)):  # outward order: what lies beyond is known first
        beyond = max((far[nxt] for nxt in onward.get(ends[pipe], [])), default=0.0)
        far[pipe] = float(pipes.at[pipe, "length_m"]) + beyond
    lines: dict[str, tuple[str, ...]] = {}
    waiting = [pipe for pipe in ends if starts[pipe] not in set(ends.values())]
    waiting.sort(key=lambda pipe: -far[pipe])
    while waiting:
        line = [waiting.pop(0)]
        while branches := sorted(onward.get(ends[line[-1]], []), key=lambda pipe: -far[pipe]):
            line.append(branches[0])
            waiting.extend(branches[1:])
        first, last = slug(starts[line[0]]), slug(ends[line[-1]])
        lines[f"{len(lines) + 1:02d}-{first}-to-{last}"] = tuple(line)
    return lines


def slug(name: str) -> str:
    """Return a name as part of a file name: no path separators, blanks or accents.

    >>> slug("Tête d'eau / north")
    'tete-d-eau-north'
    """
    ascii_only = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode()
    return re.sub(r"[^a-z0-9]+", "-", ascii_only.lower())[:_LONGEST_SLUG].strip("-") or "x"
