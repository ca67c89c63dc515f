"""Fixtures shared by every test: where the repository, the sample and the real places are."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

# A busy machine makes a slow draw, not a wrong one; the same examples come up on every run.
settings.register_profile(
    "steady", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("steady")

ROOT = Path(__file__).resolve().parents[1]
REAL_DATA = ROOT.parent / "shared" / "realdata"


@pytest.fixture(scope="session")
def root() -> Path:
    return ROOT


@pytest.fixture(scope="session")
def sample_project() -> Path:
    return ROOT / "sample_data" / "holding.toml"


@pytest.fixture(scope="session")
def real_data() -> Path:
    if not REAL_DATA.is_dir():
        pytest.skip("the two real places are not beside this clone (../shared/realdata)")
    return REAL_DATA
