import pytest
from full_plan import make_full_plan

from dewpond.base.model import Plan


@pytest.fixture(scope="session")
def full() -> Plan:
    return make_full_plan()
