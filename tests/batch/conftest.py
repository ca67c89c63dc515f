"""What the tests of a batch share: a few small invented holdings, planned once undisturbed."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from batch import synthetic
from batch.results import HOLDINGS, tree
from dewpond.batch import BatchOptions, BatchReport, plan_batch


@pytest.fixture(scope="session")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder of a few project files on one raster; not to be changed."""
    return synthetic.write_folder(tmp_path_factory.mktemp("holdings"), HOLDINGS)


@pytest.fixture(scope="session")
def undisturbed(made: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """Return the results of those holdings from a run that nothing happened to."""
    output = tmp_path_factory.mktemp("undisturbed") / "out"
    report = plan_batch(made, output, BatchOptions(processes=2))
    assert report.failures == ()
    return tree(output)


@pytest.fixture
def run() -> Callable[..., BatchReport]:
    def run(given: Path, output: Path, **options: object) -> BatchReport:
        return plan_batch(given, output, BatchOptions(**{"processes": 1, **options}))

    return run
