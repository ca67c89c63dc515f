"""A HiGHS solver that keeps standard output clean."""

from __future__ import annotations

import os
import sys
from collections.abc import Mapping

import highspy

Options = Mapping[str, bool | int | float | str]


def quiet_solver(options: Options) -> highspy.Highs:
    """Return a solver that prints nothing, with options set.

    The first solver of a process prints a banner from its constructor, before any option can
    stop it, and straight to the file descriptor. Standard output carries results (``--json``),
    so for that moment the descriptor points nowhere.

    Raises
    ------
    ValueError
        When the solver knows no such option or value.
    """
    solver = _constructed()
    for name, value in {"output_flag": False, **options}.items():
        if solver.setOptionValue(name, value) == highspy.HighsStatus.kError:
            raise ValueError(f"the solver takes no option {name} = {value!r}")
    return solver


def _constructed() -> highspy.Highs:
    # Looked up by number: under a test runner sys.stdout may not be the descriptor itself.
    descriptor = 1
    if sys.stdout is not None:
        sys.stdout.flush()
    try:
        kept = os.dup(descriptor)
    except OSError:  # no standard output at all: nothing to keep clean
        return highspy.Highs()  # type: ignore[no-untyped-call]
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, descriptor)
        return highspy.Highs()  # type: ignore[no-untyped-call]
    finally:
        os.dup2(kept, descriptor)
        os.close(nowhere)
        os.close(kept)
