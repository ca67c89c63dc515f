"""dewpond plans drinking water for grazed holdings.

>>> from dewpond import load_project, plan_holding, write_plan  # doctest: +SKIP
>>> plan = plan_holding(load_project("sample_data/holding.toml"))  # doctest: +SKIP
>>> write_plan(plan, "plan")  # doctest: +SKIP

Names are loaded when first used, so that the command line answers quickly.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from dewpond.base.errors import DewpondError, Fault, InputError, OutputError, SolverError
    from dewpond.base.model import CommandArea, Plan
    from dewpond.base.settings import Project, load_project, project_from_dict
    from dewpond.gravity import command_area
    from dewpond.outputs import write_command_area, write_plan
    from dewpond.plan import check_holding, demand_of, plan_holding

__version__ = "0.1.0"

_HOME = {
    "CommandArea": "dewpond.base.model",
    "DewpondError": "dewpond.base.errors",
    "Fault": "dewpond.base.errors",
    "InputError": "dewpond.base.errors",
    "OutputError": "dewpond.base.errors",
    "Plan": "dewpond.base.model",
    "Project": "dewpond.base.settings",
    "SolverError": "dewpond.base.errors",
    "check_holding": "dewpond.plan",
    "command_area": "dewpond.gravity",
    "demand_of": "dewpond.plan",
    "load_project": "dewpond.base.settings",
    "plan_holding": "dewpond.plan",
    "project_from_dict": "dewpond.base.settings",
    "write_command_area": "dewpond.outputs",
    "write_plan": "dewpond.outputs",
}

__all__ = [
    "CommandArea",
    "DewpondError",
    "Fault",
    "InputError",
    "OutputError",
    "Plan",
    "Project",
    "SolverError",
    "__version__",
    "check_holding",
    "command_area",
    "demand_of",
    "load_project",
    "plan_holding",
    "project_from_dict",
    "write_command_area",
    "write_plan",
]


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(_HOME[name]), name)


def __dir__() -> list[str]:
    return sorted(__all__)
