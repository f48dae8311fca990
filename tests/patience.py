"""Waiting in tests: for what is to happen, and never on a clock that a busy machine could overtake."""

from __future__ import annotations

import os
import select
import time
from collections.abc import Callable

# Only a test that fails waits so long.
PATIENCE = 180.0


def wait_until(holds: Callable[[], object], alive: Callable[[], bool] = lambda: True) -> None:
    """Wait until something holds, as long as what is to bring it about is alive."""
    end = time.monotonic() + PATIENCE
    while not holds():
        assert alive(), "it ended before that"
        assert time.monotonic() < end, "it never came to that"
        time.sleep(0.01)


def wait_for_end(process: int) -> None:
    """Wait until a process that need not be a child has ended."""
    try:
        handle = os.pidfd_open(process)
    except ProcessLookupError:
        return
    try:
        ended, _, _ = select.select([handle], [], [], PATIENCE)
        assert ended, "the process is still there"
    finally:
        os.close(handle)
