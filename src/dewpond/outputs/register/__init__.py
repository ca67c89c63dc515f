"""Many holdings in tables: what one plan gives as rows, and the rows of all written as files."""

from dewpond.outputs.register.columns import TABLES
from dewpond.outputs.register.rows import failed_rows, plan_rows
from dewpond.outputs.register.screening import Screening
from dewpond.outputs.register.write import Register

__all__ = ["TABLES", "Register", "Screening", "failed_rows", "plan_rows"]
