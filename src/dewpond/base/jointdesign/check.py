"""Checks that the arrays of a joint problem fit together; reports every fault at once."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from dewpond.base.errors import Fault, InputError
from dewpond.base.jointdesign.problem import JointLimits, JointProblem


def check_problem(problem: JointProblem, limits: JointLimits) -> None:
    """Raise one `InputError` with every fault of the problem and of the limits."""
    faults = [
        *_shape_faults(problem),
        *_number_faults(problem),
        *_price_faults(problem),
        *_limit_faults(limits),
    ]
    if faults:
        raise InputError(faults)


def _shape_faults(problem: JointProblem) -> Iterator[Fault]:
    edges = np.asarray(problem.edges)
    if edges.size and (edges.ndim != 2 or edges.shape[1] != 2):
        yield Fault("edges", "not a table of two columns", str(edges.shape), "(m, 2)")
    n_edges, n_sites = edges.size // 2, len(problem.site_node)
    n_groups = problem.groups.shape[0]
    rows = 0 if problem.limit_matrix is None else problem.limit_matrix.shape[0]
    wanted: list[tuple[str, tuple[int, ...] | None, tuple[int, ...]]] = [
        ("edge_cost", np.shape(problem.edge_cost), (n_edges,)),
        ("site_cost", np.shape(problem.site_cost), (n_sites,)),
        ("groups", tuple(problem.groups.shape), (n_groups, n_sites)),
        ("root_cost", _shape(problem.root_cost), (len(problem.root_node),)),
        ("limit_matrix", _shape(problem.limit_matrix), (rows, n_sites)),
        ("limit_lower", _shape(problem.limit_lower), (rows,)),
        ("limit_upper", _shape(problem.limit_upper), (rows,)),
        ("walk_m", _shape(problem.walk_m), (n_groups, n_sites)),
    ]
    for name, found, expected in wanted:
        if found is not None and found != expected:
            yield Fault(name, "does not fit the other arrays", str(found), str(expected))
    if not len(problem.root_node):
        yield Fault("root_node", "no source is given", "0", "at least one")


def _shape(array: object) -> tuple[int, ...] | None:
    # Sparse arrays have a shape of their own that numpy does not see.
    return None if array is None else tuple(getattr(array, "shape", ())) or (len(array),)  # type: ignore[arg-type]


def _number_faults(problem: JointProblem) -> Iterator[Fault]:
    n_sites = len(problem.site_node)
    numbers = [
        ("edges", problem.edges, problem.n_nodes, "node"),
        ("site_node", problem.site_node, problem.n_nodes, "node"),
        ("root_node", problem.root_node, problem.n_nodes, "node"),
        ("forced_sites", problem.forced_sites, n_sites, "site"),
        ("forbidden_sites", problem.forbidden_sites, n_sites, "site"),
    ]
    for name, given, size, kind in numbers:
        values = np.asarray(given)
        wrong = values[(values < 0) | (values >= size)] if values.size else values
        if wrong.size:
            found = f"{wrong.ravel()[0]} ({wrong.size} in all)"
            yield Fault(name, f"names a {kind} that is not there", found, f"0 to {size - 1}")
    both = np.intersect1d(problem.forced_sites, problem.forbidden_sites)
    if both.size:
        yield Fault("forced_sites", "a site is both forced and forbidden", str(both[0]))


def _price_faults(problem: JointProblem) -> Iterator[Fault]:
    prices: list[tuple[str, npt.ArrayLike | None]] = [
        ("edge_cost", problem.edge_cost),
        ("site_cost", problem.site_cost),
        ("root_cost", problem.root_cost),
    ]
    for name, given in prices:
        values = np.asarray([] if given is None else given, dtype=float)
        wrong = values[~(np.isfinite(values) & (values >= 0))]
        if wrong.size:
            found = f"{wrong[0]} ({wrong.size} in all)"
            yield Fault(name, "a price is negative or not a number", found, "0 or more")


def _limit_faults(limits: JointLimits) -> Iterator[Fault]:
    for name in ("gap", "rounds", "nodes", "restarts"):
        value = getattr(limits, name)
        if not value >= 0:
            yield Fault(f"limits, {name}", "is negative", str(value), "0 or more")
    if not limits.seconds > 0:
        yield Fault("limits, seconds", "leaves no time", str(limits.seconds), "more than 0")
