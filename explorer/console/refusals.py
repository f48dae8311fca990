"""What the machine refuses (memory, files, room, processes), told as a matter the user can mend."""

from __future__ import annotations

import errno
import os
from collections.abc import Iterator
from concurrent.futures import BrokenExecutor

from explorer.errors import SquatlineError
from explorer.files.writing import REMEDIES

_MEMORY = "close other programs, take fewer --workers or --samples, or set keep_samples = false in the study"
_PROCESSES = "close other programs, allow more processes (ulimit -u), or run with --engine threads"
_SYSTEM = {errno.ENOMEM: _MEMORY, errno.EAGAIN: _PROCESSES}
# What the loader of libraries says where one does not fit into memory, and where no file can be opened.
_LOADER = {"failed to map segment": errno.ENOMEM, os.strerror(errno.EMFILE): errno.EMFILE}


def refusal(error: BaseException) -> SquatlineError | None:
    """Return what the machine refused, or None where the error has another cause."""
    for one in _chain(error):
        if isinstance(one, MemoryError):
            return _refused(errno.ENOMEM, str(one))
        if isinstance(one, EOFError | BrokenExecutor):
            return SquatlineError("a process that was to help has ended early", remedy=_MEMORY)
        if isinstance(one, OSError) and one.errno:
            return _refused(one.errno, one.strerror, one.filename)
        if isinstance(one, ImportError):
            code = next((code for words, code in _LOADER.items() if words in str(one)), None)
            if code is not None:
                return _refused(code, str(one), one.path)
        if isinstance(one, RuntimeError) and "can't start new thread" in str(one):
            return _refused(errno.EAGAIN, str(one))
    return None


def _chain(error: BaseException | None) -> Iterator[BaseException]:
    while error is not None:
        yield error
        error = error.__cause__ or error.__context__


def _refused(code: int, found: str | None, file: object = None) -> SquatlineError:
    return SquatlineError(
        f"the system refused: {os.strerror(code).lower()}",
        file=None if file is None else str(file),
        found=found or None,
        remedy=_SYSTEM.get(code) or REMEDIES.get(code) or "see that the file is there and can be used",
    )
