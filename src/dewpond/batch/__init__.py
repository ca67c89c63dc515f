"""Many holdings: each by itself in a process of its own, and one set of tables for all."""

from dewpond.batch.options import BatchOptions, Rows
from dewpond.batch.run import BatchReport, plan_batch

__all__ = ["BatchOptions", "BatchReport", "Rows", "plan_batch"]
