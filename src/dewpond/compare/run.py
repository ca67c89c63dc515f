"""Plan a project as it stands and otherwise, each by itself."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from dewpond.base.errors import DewpondError, Fault, InputError, SolverError
from dewpond.base.model import Change, Comparison, Outcome, Plan
from dewpond.base.progress import StageProgress, ignore_stages
from dewpond.base.settings import Project, WhatIfSettings, without_confidence
from dewpond.compare.vary import changes_of, varied_project
from dewpond.plan import library_versions, plan_holding

AS_IT_STANDS = "as it stands"


def compare_plans(
    project: Project,
    what_ifs: Sequence[WhatIfSettings] | None = None,
    *,
    progress: StageProgress = ignore_stages,
) -> Comparison:
    """Plan a project as it stands and once for each what-if.

    All settings are checked before anything is planned. After that each plan stands by itself:
    one that fails is kept with its reason and the others go on.

    Parameters
    ----------
    project : Project
    what_ifs : sequence of WhatIfSettings, optional
        Left out, those of the project file. One that changes nothing is left out.
    progress : callable, optional
        Told the name of each setting and the share of it that is done.

    Returns
    -------
    Comparison
        The project as it stands first, then the what-ifs in their order.

    Raises
    ------
    InputError
        When there is nothing to compare with, or with every fault in the changes.
    """
    chosen = project.what_if if what_ifs is None else what_ifs
    cases = _cases(project, chosen)
    outcomes = []
    for name, changes, varied in cases:
        outcomes.append(replace(_planned(name, varied, progress), changes=changes))
    return Comparison(
        project.holding.name,
        project.prices.currency,
        tuple(outcomes),
        library_versions(),
        project.documents.units,
    )


def _cases(
    project: Project, what_ifs: Sequence[WhatIfSettings]
) -> list[tuple[str, tuple[Change, ...], Project]]:
    """Return the name, changes and project of everything to plan."""
    if not what_ifs:
        raise InputError([
            Fault(
                "comparison",
                "there is nothing to compare the plan with",
                remedy="add [[what_if]] tables to the project file, or give --instead",
            )
        ])  # fmt: skip
    faults: list[Fault] = []
    plain = project.model_copy(update={"what_if": [], "breaks": None})
    cases: list[tuple[str, tuple[Change, ...], Project]] = [(AS_IT_STANDS, (), plain)]
    for what_if in what_ifs:
        try:
            varied = varied_project(project, what_if)
        except InputError as error:
            faults.extend(error.faults)
            continue
        changes = changes_of(project, varied, what_if)
        if changes:
            cases.append((what_if.name, changes, varied))
    if faults:
        raise InputError(faults)
    return cases


def _planned(name: str, project: Project, progress: StageProgress) -> Outcome:
    """Plan one setting; a failure of whatever kind stays with it."""
    progress(name, 0.0)
    try:
        plan = plan_holding(without_confidence(project), progress=_whole(name, progress))
    except SolverError as error:
        return Outcome(name, failure=str(error), internal=True)
    except DewpondError as error:
        return Outcome(name, failure=str(error) or type(error).__name__)
    except Exception as error:
        reason = f"a fault in dewpond itself ({type(error).__name__}: {error})"
        return Outcome(name, failure=reason, internal=True)
    finally:
        progress(name, 1.0)
    return _figures(name, plan)


def _figures(name: str, plan: Plan) -> Outcome:
    return Outcome(
        name,
        source=plan.holding.sources[plan.network.source].name,
        totals=dict(plan.totals),
        verdicts=plan.verdicts,
        warnings=plan.warnings,
        gap=plan.network.proof.gap,
    )


def _whole(name: str, progress: StageProgress) -> StageProgress:
    """Make one bar of the stages of a plan: each stage fills half of what is left."""
    seen: list[str] = []

    def report(stage: str, share: float) -> None:
        if stage not in seen:
            seen.append(stage)
        progress(name, 1.0 - 0.5 ** (seen.index(stage) + share))

    return report
