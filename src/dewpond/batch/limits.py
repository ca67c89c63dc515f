"""A smaller search than a single plan makes: limits in counts, with a clock behind them."""

from __future__ import annotations

from typing import Any

from dewpond.base.settings import Project
from dewpond.batch.options import BatchOptions

# Counts for each second of effort, from a few trial runs on holdings of 12 to 54 fields, one core.
_ROUNDS_A_SECOND = 8
_NODES_A_SECOND = 40
_RESTARTS_A_SECOND = 20
_CLOCK_FACTOR = 3.0
"""The clock ends what takes this many times the effort; a plan it cuts says so."""


def limited(project: Project, options: BatchOptions) -> Project:
    """Return a project with the limits of the batch wherever it sets none itself.

    Parameters
    ----------
    project : Project
    options : BatchOptions
    """
    rounds = project.layout.price_rounds if _is_set(project, "layout", "price_rounds") else 0
    tried = 1 if project.design.source is not None else len(project.source)
    searches = tried * (1 + rounds)
    effort_s = options.search_s / searches
    wanted: dict[str, dict[str, Any]] = {
        "layout": {
            "price_rounds": 0,
            "cut_rounds": max(1, round(_ROUNDS_A_SECOND * effort_s)),
            "node_limit": max(1, round(_NODES_A_SECOND * effort_s)),
            "restarts": max(1, round(_RESTARTS_A_SECOND * effort_s)),
            "time_limit_s": _CLOCK_FACTOR * effort_s,
        },
        "confidence": {"assess": options.confidence},
    }
    changed = {}
    for table, values in wanted.items():
        settings = getattr(project, table, None)
        unset = {key: value for key, value in values.items() if not _is_set(project, table, key)}
        if settings is not None and unset:
            changed[table] = settings.model_copy(update=unset)
    return project.model_copy(update=changed)


def _is_set(project: Project, table: str, key: str) -> bool:
    settings = getattr(project, table, None)
    return settings is not None and key in settings.model_fields_set
