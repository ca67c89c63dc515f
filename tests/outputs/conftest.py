"""The plan that every test of the outputs starts from."""

from __future__ import annotations

import pytest
from hand_plan import make_plan

from dewpond.base.model import Plan


@pytest.fixture(scope="session")
def plan() -> Plan:
    return make_plan()
