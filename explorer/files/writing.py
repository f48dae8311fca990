"""Files written whole or not at all; what the system refuses is told with the file and the remedy."""

from __future__ import annotations

import errno
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from explorer.errors import ResultsError

_ROOM = "make room on that disk; what was written earlier is still there"
_OPEN_FILES = "close other programs, or allow more open files (ulimit -n)"
_RIGHTS = "make that folder writable, or name another one"
_IN_THE_WAY = "a file or a link stands where a folder should be: move it away, or name another folder"
REMEDIES = {
    errno.ENOSPC: _ROOM,
    errno.EDQUOT: _ROOM,
    errno.EFBIG: _ROOM,
    errno.EMFILE: _OPEN_FILES,
    errno.ENFILE: _OPEN_FILES,
    errno.EACCES: _RIGHTS,
    errno.EPERM: _RIGHTS,
    errno.EROFS: _RIGHTS,
    errno.ENOLCK: "put the results on a disk of this machine",
    errno.EEXIST: _IN_THE_WAY,
    errno.ENOTDIR: _IN_THE_WAY,
}


@contextmanager
def told(
    problem: str, file: Path, *, also: tuple[type[Exception], ...] = (), remedy: str | None = None
) -> Iterator[None]:
    """Tell what the system refuses inside as a matter of the user's.

    Parameters
    ----------
    also:
        Errors of a library that mean the same.
    remedy:
        Where there is no better one.

    Raises
    ------
    ResultsError
        In place of an ``OSError`` or one of those.
    """
    try:
        yield
    except Exception as error:
        if not isinstance(error, (OSError, *also)):
            raise
        raise ResultsError(
            problem,
            file=str(file),
            found=getattr(error, "strerror", None) or str(error),
            remedy=REMEDIES.get(getattr(error, "errno", None) or 0, remedy),
        ) from None


@contextmanager
def whole(file: Path, *, lasting: bool = True) -> Iterator[Path]:
    """Give a file to write beside the one named; it takes that place when all of it is on the disk.

    What a killed process of this machine has left of the same file is removed.

    Parameters
    ----------
    lasting:
        Whether it has to outlast a power cut; what is only kept to save time need not, and whoever keeps it
        removes what is left.
    """
    for left in file.parent.glob(f".{file.name}.*.part") if lasting else ():
        if not _runs(left.name.split(".")[-2]):
            left.unlink(missing_ok=True)
    fresh = file.with_name(f".{file.name}.{os.getpid()}.part")
    try:
        yield fresh
        if lasting:
            put_on_disk(fresh)
        os.replace(fresh, file)
    finally:
        fresh.unlink(missing_ok=True)


def _runs(process: str) -> bool:
    try:
        os.kill(int(process), 0)
    except (ProcessLookupError, ValueError):
        return False
    except PermissionError:
        return True  # somebody else's
    return True


def put_on_disk(file: Path) -> None:
    """Have the disk hold what was written: a name that tells of it may outlast a power cut."""
    with file.open("rb") as written:
        os.fsync(written.fileno())


def write_whole(file: Path, content: str | bytes) -> None:
    """Write a file whole or not at all.

    Raises
    ------
    ResultsError
        When the system refuses.
    """
    with told("the file cannot be written", file), whole(file) as fresh:
        fresh.write_bytes(content.encode() if isinstance(content, str) else content)
