"""How many threads one process may use."""

from __future__ import annotations

import os


def usable_threads() -> int:
    """Return the number in ``OMP_NUM_THREADS`` where it is set, else the number of cores.

    The variable is the usual way to say that other processes share the machine; a batch sets it
    to 1 for each of its own.
    """
    wanted = os.environ.get("OMP_NUM_THREADS", "").split(",")[0].strip()
    if wanted.isdigit() and int(wanted) > 0:
        return int(wanted)
    return os.cpu_count() or 1
