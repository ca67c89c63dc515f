"""Run every trial and write what was promised and what happened to ``results.csv``.

``python tests/calibration/run_calibration.py [trials [group ...]]``, with ``OMP_NUM_THREADS=1``,
takes about a quarter of an hour on two free cores. The pictures in the documentation are drawn
from the file (``docs/make_reliability.py``); the slow test runs the main case anew.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterable, Sequence
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import pandas as pd

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent)]

from height_fixed import run_fixed  # noqa: E402
from height_shapes import SHAPES  # noqa: E402
from height_trials import Case, run_whole  # noqa: E402

RESULTS = HERE / "results.csv"
WHOLE = Case("whole plan", "as assumed", whole=True)
LAID_ON = [
    *(Case(name, name) for name in SHAPES),
    Case("as assumed, three levels", "as assumed", levelled=True),
    Case("nothing common, three levels", "nothing common", levelled=True),
]
MEASURED = (
    ("height_data", "radar surface 30 m"), ("height_standard_deviation_m", 2.8),
    ("correlation_length_m", 150.0), ("height_long_share", 0.0),
)  # fmt: skip
REAL = [
    Case("two surveys, published"),
    Case(
        "two surveys, taken for the finer kind", terrain=(("height_data", "radar surface 30 m"),)
    ),
    Case("two surveys, as measured beside", terrain=MEASURED),
]


def run(
    work: Callable[[int], Any],
    numbers: Iterable[int],
    title: str,
    save: Callable[[list[dict[str, Any]]], None] | None = None,
) -> list[dict[str, Any]]:
    """Run trials in two processes and return their records in the order of the numbers."""
    start = time.perf_counter()
    records: list[dict[str, Any]] = []
    # A fresh process, not a fork: the libraries start threads of their own.
    with get_context("spawn").Pool(2) as pool:
        for number, found in enumerate(pool.imap(work, numbers, chunksize=2)):
            records.extend(found if isinstance(found, list) else [found])
            if number % 10 == 9:
                print(f"{title}: {number + 1}, {time.perf_counter() - start:.0f} s", flush=True)
                if save is not None:
                    save(records)
    return records


def keep(group: str, records: list[dict[str, Any]]) -> None:
    """Put the rows of a group into the file, in place of those that were there."""
    kept = pd.read_csv(RESULTS, keep_default_na=False) if RESULTS.exists() else pd.DataFrame()
    if len(kept):
        kept = kept[kept["group"] != group]
    found = pd.DataFrame(records).round(4)
    found.insert(0, "group", group)
    pd.concat([kept, found]).sort_values(
        "group", key=lambda names: names.map(list(GROUPS).index), kind="stable"
    ).to_csv(RESULTS, index=False)


GROUPS: dict[str, Callable[[int], Any]] = {
    "whole": partial(run_whole, WHOLE),
    "real": partial(run_fixed, REAL),
    "laid-on": partial(run_fixed, LAID_ON),
}


def main(trials: int, groups: Sequence[str]) -> None:
    """Run groups of cases; the file is written anew every ten trials."""
    for group in groups:
        save = partial(keep, group)
        save(run(GROUPS[group], range(trials), group, save))


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 300, sys.argv[2:] or list(GROUPS))
