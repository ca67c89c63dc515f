"""The date that the documents of a plan bear."""

from __future__ import annotations

import os
from datetime import UTC, date, datetime

from dewpond.base.settings import Project


def document_date(project: Project) -> date:
    """Return the date of the documents: as set, else that of the build, else today's.

    The date of the build is the environment variable ``SOURCE_DATE_EPOCH``, seconds since 1970
    in UTC (open specification, reproducible-builds.org, revision 1.1); a value that is no number
    of seconds within the calendar is passed over.
    """
    if project.documents.date is not None:
        return date.fromisoformat(project.documents.date)
    epoch = os.environ.get("SOURCE_DATE_EPOCH", "")
    if epoch.isascii() and epoch.isdigit():
        try:
            return datetime.fromtimestamp(int(epoch), UTC).date()
        except (OverflowError, OSError, ValueError):
            pass
    return date.today()
